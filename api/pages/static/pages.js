// What makes the pages quicker with a keyboard. Every page is complete without it.
"use strict";

// Copying texts: a button with data-copy names them by a selector, and what came of it is said in the status beside it.
const COPIED_BETWEEN = `\n\n${"-".repeat(72)}\n\n`;

function selectAll(elements) {
  const range = document.createRange();
  range.setStartBefore(elements[0]);
  range.setEndAfter(elements[elements.length - 1]);
  const selection = window.getSelection();
  selection.removeAllRanges();
  selection.addRange(range);
}

async function copy(button) {
  const elements = [...document.querySelectorAll(button.dataset.copy)];
  const said = button.nextElementSibling;
  try {
    // Browsers give pages a clipboard on this machine and over HTTPS alone.
    await navigator.clipboard.writeText(elements.map((each) => each.textContent.trim()).join(COPIED_BETWEEN));
    said.textContent = "Copied.";
  } catch {
    selectAll(elements);
    said.textContent = "Selected: copy it with Ctrl+C or the menu.";
  }
}

for (const button of document.querySelectorAll("button[data-copy]")) button.hidden = false;

document.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-copy]");
  if (button) copy(button);
});

// --- find: the box, the links of what was found, and the keys between them ----------------------------

(() => {
  const box = document.querySelector('form[role="search"] #q');
  if (!box) return;
  const slash = document.getElementById("slash");
  const kept = "specdb-slash-off";
  const links = () => [...document.querySelectorAll("#results a.hit")];
  const isTyping = (at) => at.closest("input, select, textarea, [contenteditable]") !== null;

  // Storage may be forbidden: then the key is on again at the next page.
  const stored = (act) => { try { return act(window.localStorage); } catch { return null; } };
  let isSlashOn = stored((store) => store.getItem(kept)) === null;

  function toBox() { box.focus(); box.select(); }

  function move(from, step) {
    const all = links(), at = all.indexOf(from);
    if (at < 0 && step < 0) return;
    const to = at < 0 ? 0 : at + step;
    if (to < 0) toBox();
    else if (to < all.length) all[to].focus();
  }

  function showSlash() {
    slash.setAttribute("aria-pressed", String(isSlashOn));
    slash.textContent = isSlashOn ? "Key / is on" : "Key / is off";
  }

  slash.addEventListener("click", () => {
    isSlashOn = !isSlashOn;
    stored((store) => isSlashOn ? store.removeItem(kept) : store.setItem(kept, "1"));
    showSlash();
  });
  showSlash();
  slash.closest("p").hidden = false;

  document.addEventListener("keydown", (event) => {
    const at = event.target, isPlain = !(event.ctrlKey || event.altKey || event.metaKey || event.isComposing);
    if (!isPlain) return;
    const isHit = at.matches("#results a.hit");
    if ((event.key === "ArrowDown" || event.key === "ArrowUp") && (at === box || isHit)) {
      event.preventDefault();
      move(at, event.key === "ArrowDown" ? 1 : -1);
    } else if (event.key === "Escape" && at !== box) {
      toBox();
    } else if (event.key === "/" && isSlashOn && !isTyping(at)) {
      event.preventDefault();
      toBox();
    } else if (event.key === "Enter" && at === box) {
      // What was found may still be that of a letter ago: then Enter asks anew, as it does without this script.
      const exact = document.querySelectorAll("#results a[data-exact]");
      const isOfThis = document.getElementById("results").dataset.q === box.value.trim();
      if (exact.length === 1 && isOfThis) { event.preventDefault(); window.location.assign(exact[0].href); }
    }
  });
})();
