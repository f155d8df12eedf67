// What the service says of a form, while it is typed; and lists that are looked through by a word. No library.
"use strict";

const WAIT_MS = 350;

// Ask with the form's own "check", and take over what the answer says at the same place. Without this the button does.
function live(form) {
  const place = document.getElementById(form.dataset.live);
  let waiting = 0;
  let asked = 0;
  async function ask() {
    const turn = ++asked;
    const sent = new FormData(form);
    sent.set("do", "check");
    place.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(form.action, { method: "POST", body: new URLSearchParams(sent), credentials: "same-origin" });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const now = page.getElementById(place.id);
      if (turn === asked && now && now.innerHTML !== place.innerHTML) {
        const focused = document.activeElement?.id;
        const inside = place.contains(document.activeElement);
        place.replaceChildren(...now.childNodes);
        if (inside && focused) document.getElementById(focused)?.focus();
      }
    } catch {
      // The service is away: the button says so when it is pressed.
    } finally {
      if (turn === asked) place.removeAttribute("aria-busy");
    }
  }
  form.addEventListener("input", () => {
    clearTimeout(waiting);
    waiting = setTimeout(() => {
      if ([...form.querySelectorAll("[data-needed]")].every((field) => field.value.trim())) ask();
    }, WAIT_MS);
  });
}

// Show only the lines that have every word typed.
function sift(field) {
  const list = document.getElementById(field.dataset.sifts);
  const lines = [...list.querySelectorAll("[data-words]")];
  const told = document.getElementById(`${list.id}-count`);
  const closed = [...list.querySelectorAll("details")].filter((details) => !details.open);
  field.addEventListener("input", () => {
    const words = field.value.toLowerCase().split(/\s+/).filter(Boolean);
    let shown = 0;
    for (const line of lines) {
      line.hidden = !words.every((word) => line.dataset.words.includes(word));
      if (!line.hidden) shown += 1;
    }
    for (const details of list.querySelectorAll("details")) {
      const any = [...details.querySelectorAll("[data-words]")].some((line) => !line.hidden);
      details.hidden = !any;
      if (closed.includes(details)) details.open = any && words.length > 0;
    }
    if (told) told.textContent = words.length ? `${shown} of ${lines.length}` : "";
  });
  field.closest("[hidden]")?.removeAttribute("hidden");
}

// Find a fact beside the condition, and put its name where the cursor was.
function finder(place) {
  const into = document.getElementById(place.dataset.into);
  const label = document.createElement("label");
  const field = document.createElement("input");
  const found = document.createElement("div");
  label.textContent = "Find a fact by words; a click puts it into the condition";
  label.htmlFor = field.id = "find-fact";
  field.type = "search";
  field.autocomplete = "off";
  found.setAttribute("aria-live", "polite");
  place.replaceChildren(label, field, found);
  let waiting = 0;
  let asked = 0;
  async function ask() {
    const turn = ++asked;
    const answer = await fetch(`${place.dataset.finder}?${new URLSearchParams({ find: field.value })}`, { credentials: "same-origin" });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const lines = page.getElementById("facts-found");
    if (turn !== asked || !lines) return;
    found.replaceChildren(...lines.childNodes);
    for (const code of found.querySelectorAll("li > span > code:first-child")) {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "quiet";
      button.textContent = code.textContent;
      button.addEventListener("click", () => into.setRangeText(button.textContent, into.selectionStart, into.selectionEnd, "end"));
      code.replaceWith(button);
    }
  }
  field.addEventListener("keydown", (event) => {
    if (event.key === "Enter") event.preventDefault();
  });
  field.addEventListener("input", (event) => {
    event.stopPropagation();
    clearTimeout(waiting);
    waiting = setTimeout(ask, WAIT_MS);
  });
}

for (const place of document.querySelectorAll("[data-finder]")) finder(place);
for (const form of document.querySelectorAll("form[data-live]")) live(form);
for (const field of document.querySelectorAll("[data-sifts]")) sift(field);
document.querySelector("main .refused[tabindex]")?.focus();
