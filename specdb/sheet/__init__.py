"""Elements side by side as a sheet that is signed and kept: what stands on it, and the sheet as PDF."""
