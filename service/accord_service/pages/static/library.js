// The library: results while somebody types, and lists that show only what has some words. Without it all works as well.
"use strict";

const PAUSE_MS = 150;

function searchWhileTyping(form) {
  const field = form.elements.q;
  const results = document.querySelector("#results");
  if (!results) return;
  let timer = 0;
  let asked = null;

  async function show() {
    asked?.abort();
    asked = new AbortController();
    const query = new URLSearchParams(new FormData(form));
    query.set("part", "results");
    try {
      const answer = await fetch(`${form.action}?${query}`, { signal: asked.signal, redirect: "error" });
      if (!answer.ok) return;
      results.innerHTML = await answer.text();
      form.querySelector("[role=status]").textContent = results.querySelector(".counted")?.textContent ?? "";
    } catch {
      return; // another search is under way, or the line is down: the button still searches
    }
    query.delete("part");
    if (location.pathname === "/library/search") history.replaceState(null, "", `${form.action}?${query}`);
  }

  form.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(field.value.trim() ? show : () => results.replaceChildren(), PAUSE_MS);
  });
}

function filterList(box) {
  const field = box.querySelector("input");
  const output = box.querySelector("output");
  const list = document.querySelector(".filtered");
  const rows = [...list.querySelectorAll("li, tbody tr")];
  const texts = rows.map((row) => row.textContent.toLowerCase());
  box.hidden = false;
  field.addEventListener("input", () => {
    const words = field.value.toLowerCase().split(/\s+/).filter(Boolean);
    let shown = 0;
    rows.forEach((row, index) => {
      row.hidden = !words.every((word) => texts[index].includes(word));
      shown += row.hidden ? 0 : 1;
    });
    for (const section of list.querySelectorAll("section")) {
      section.hidden = !section.querySelector("li:not([hidden]), tbody tr:not([hidden])");
    }
    output.textContent = words.length ? `${shown} of ${rows.length}` : "";
  });
}

for (const form of document.querySelectorAll("form.search")) searchWhileTyping(form);
for (const box of document.querySelectorAll(".filter")) filterList(box);
