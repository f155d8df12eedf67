// A proposal's page while its effect is worked out: it asks how far that is, and shows the effect once it is there.
"use strict";

const FIRST_MS = 2000;
const MOST_MS = 15000;

const progress = document.querySelector("[data-progress]");

function typedInto() {
  return [...document.querySelectorAll("textarea")].some((field) => field.value !== field.defaultValue);
}

function showAll() {
  if (typedInto()) {
    // What somebody is writing is not taken away.
    progress.querySelector("[role=status]").textContent = "The effect has moved on: follow the link when you have finished writing.";
  } else {
    location.reload();
  }
}

async function look(etag, waitMs) {
  if (document.hidden) {
    document.addEventListener("visibilitychange", () => look(etag, FIRST_MS), { once: true });
    return;
  }
  let next = Math.min(waitMs * 1.5, MOST_MS);
  try {
    const answer = await fetch(progress.dataset.progress, {
      cache: "no-store",
      headers: etag ? { "If-None-Match": etag } : {},
    });
    if (answer.redirected) return; // signed out meanwhile
    if (answer.ok) {
      const told = await answer.json();
      if (!told.working) {
        showAll();
        return;
      }
      progress.querySelector("[role=status]").textContent = told.progress;
      etag = answer.headers.get("ETag");
      next = FIRST_MS;
    }
  } catch {
    next = MOST_MS; // no line: later again
  }
  setTimeout(look, next, etag, next);
}

if (progress) setTimeout(look, FIRST_MS, null, FIRST_MS);
