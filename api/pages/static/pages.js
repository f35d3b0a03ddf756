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

// --- units: what is typed and not yet sent goes along when they are changed ---------------------------

(() => {
  let typedIn = null;

  document.addEventListener("input", (event) => {
    const form = event.target.form;
    // A form that asks this page anew; others lead elsewhere.
    if (form && form.method === "get" && new URL(form.action).pathname === window.location.pathname) typedIn = form;
  });

  document.addEventListener("click", async (event) => {
    const link = event.target.closest(".units a");
    const isPlain = event.button === 0 && !(event.ctrlKey || event.altKey || event.metaKey || event.shiftKey);
    if (!link || !isPlain || !typedIn || !typedIn.isConnected) return;
    event.preventDefault();
    const asked = new URL(typedIn.action);
    asked.search = new URLSearchParams(new FormData(typedIn));
    try {
      // Asked in the old units first: a number without a unit gets the one that it was typed in.
      const answer = await fetch(asked, { headers: { Accept: "text/html" } });
      const tidy = new URL(answer.url);
      // What cannot be read keeps the units that it was typed in, and is told.
      if (answer.ok) tidy.searchParams.set("units", new URL(link.href).searchParams.get("units"));
      window.location.assign(tidy);
    } catch {
      window.location.assign(link.href);
    }
  });
})();

// --- find: the box, the links of what was found, and the keys between them ----------------------------

(() => {
  const box = document.querySelector('form[role="search"] #q');
  if (!box) return;
  const MOST_WAITED_MS = 3000;
  const slash = document.getElementById("slash");
  const measures = document.querySelector("details.measures");
  const kept = "specdb-slash-off";
  const results = () => document.getElementById("results");
  const isSeen = (element) => !element.closest("details:not([open]) > :not(summary)");
  const links = () => [...results().querySelectorAll("a.hit")].filter(isSeen);
  const stops = () => [...results().querySelectorAll("a, summary, button")].filter(isSeen);
  const isTyping = (at) => at.closest("input, select, textarea, [contenteditable]") !== null;

  // What was found may still be that of a letter ago: keys that are about it wait for what they were meant for.
  let answered = results().dataset.q.trim(), hasTyped = false, waiting = [], giveUp = null;
  const isOfThis = () => answered === box.value.trim();

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

  function press(key) {
    const at = document.activeElement;
    if (key !== "Enter") { move(at, key === "ArrowDown" ? 1 : -1); return; }
    if (at !== box) { at.click(); return; }
    const exact = document.querySelectorAll("#results a[data-exact]");
    if (exact.length === 1 && isOfThis()) window.location.assign(exact[0].href);
    else box.form.submit();
  }

  function wait(key) {
    if (!waiting.length) giveUp = setTimeout(() => box.form.submit(), MOST_WAITED_MS);
    waiting.push(key);
  }

  function forget() { clearTimeout(giveUp); waiting = []; }

  function catchUp() {
    if (!isOfThis()) return;
    const keys = waiting;
    forget();
    // Whoever has gone elsewhere meanwhile is left there.
    if (document.activeElement === box) keys.forEach(press);
  }

  let left = -1, asking = "";
  box.addEventListener("input", () => { hasTyped = true; forget(); });
  box.addEventListener("htmx:configRequest", () => { asking = box.value.trim(); });
  document.addEventListener("htmx:beforeSwap", () => { left = stops().indexOf(document.activeElement); });
  box.addEventListener("htmx:afterRequest", (event) => {
    if (!event.detail.successful) return;
    answered = asking;
    if (left >= 0) (stops()[Math.min(left, stops().length - 1)] || box).focus();
    left = -1;
    if ("opensMeasures" in results().dataset) measures.open = true;
    box.setAttribute("aria-invalid", String(document.getElementById("q-fault") !== null));
    catchUp();
  });

  // From then on what is typed in the fields is the reader's own, and no reading of the box takes its place.
  measures.addEventListener("input", () => {
    box.setAttribute("hx-select-oob", box.getAttribute("hx-select-oob").replace(/,#measures-form:[^,]*/, ""));
  });

  // What was typed before the scripts were there is no change to them, and is asked all the same.
  document.addEventListener("DOMContentLoaded", () => {
    if (isOfThis()) return;
    hasTyped = true;
    box.dispatchEvent(new Event("early"));
  });

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
    const isArrow = event.key === "ArrowDown" || event.key === "ArrowUp";
    if ((isArrow && (at === box || at.matches("#results a.hit"))) || (event.key === "Enter" && at === box)) {
      event.preventDefault();
      if (at === box && hasTyped && window.htmx && !isOfThis()) wait(event.key);
      else press(event.key);
    } else if (event.key === "Escape" && at !== box) {
      toBox();
    } else if (event.key === "/" && isSlashOn && !isTyping(at)) {
      event.preventDefault();
      toBox();
    }
  });
})();
