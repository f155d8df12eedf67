// The counter: the answer comes while somebody types. Without this script the form's button asks.
"use strict";

const STILL_MS = 250; // after the last key
const RANGES_MS = 400; // more, since they take longer to work out, and no use while somebody types on
const AGAIN_MS = 2500;
const SLOW_MS = 400; // from here on the line says that the answer is on its way
const form = document.querySelector("#order");
const verdict = document.querySelector("#verdict");
const announce = document.querySelector("#announce");
const NO_ORDER = new Set(["form_word", "form_once"]);
let typing = 0;
let waiting = 0;
let asking = null;
let askingMore = null;
let last = query();
let shown = last; // the order that the answer is of
let slow = 0;
let again = 0;

// What stands in the form, without what is empty: the server puts units behind their numbers.
function query() {
  const pairs = new URLSearchParams();
  const data = new FormData(document.querySelector("#order"));
  for (const [name, text] of data) {
    const of = name.endsWith(".unit") ? String(data.get(name.slice(0, -5)) ?? "") : text;
    if (!NO_ORDER.has(name) && String(text).trim() && of.trim()) pairs.append(name, text);
  }
  return pairs.toString();
}

// No word came back: what fetch says of that means nothing to anybody.
class NoReply extends Error {
  constructor() {
    super("the service cannot be reached from here.");
  }
}

async function fetched(address, signal) {
  try {
    const answer = await fetch(address, { signal, headers: { Accept: "text/html" }, credentials: "same-origin" });
    return [answer, await answer.text()];
  } catch (error) {
    throw error.name === "AbortError" ? error : new NoReply();
  }
}

async function part(address, signal) {
  const [answer, text] = await fetched(address, signal);
  if (answer.redirected && new URL(answer.url).pathname === "/sign-in") {
    location.assign(`/counter?${query()}`); // signed out meanwhile: to the sign-in, and back to this order
    throw new DOMException("signed out", "AbortError");
  }
  const page = new DOMParser().parseFromString(text, "text/html");
  if (!answer.ok) {
    const error = new Error(page.querySelector(".lead")?.textContent ?? `the service answered ${answer.status}.`);
    error.againMs = Number(answer.headers.get("Retry-After")) * 1000;
    throw error;
  }
  return page;
}

function say(text) {
  if (announce.textContent !== text) announce.textContent = text;
}

function line() {
  return verdict.querySelector("#line");
}

function pinned() {
  document.querySelector(".counter > .pinned")?.remove();
  const copy = line().cloneNode(true);
  const link = document.createElement("div");
  copy.removeAttribute("id");
  copy.removeAttribute("tabindex");
  link.className = "pinned";
  link.setAttribute("aria-hidden", "true"); // the line itself follows, and is announced
  link.append(copy);
  link.addEventListener("click", () => line().scrollIntoView());
  verdict.before(link);
  watching.disconnect();
  watching.observe(line());
}

// The copy of the line is in sight only while the line is not.
const watching = new IntersectionObserver(([entry]) => {
  const copy = document.querySelector(".counter > .pinned");
  if (copy) copy.hidden = entry.isIntersecting || entry.boundingClientRect.top < 0;
});

// The line without a verdict: why there is none of what stands in the form now.
function sayNoVerdict(word, sign, lead, rest) {
  const [mark, text, strong] = ["span", "span", "strong"].map((name) => document.createElement(name));
  mark.className = "sign";
  mark.setAttribute("aria-hidden", "true");
  mark.textContent = sign;
  strong.textContent = lead;
  text.append(strong, ` ${rest}`);
  line().className = `line ${word}`;
  line().replaceChildren(mark, " ", text);
  verdict.querySelector("#answer").dataset.word = word;
  pinned();
}

// From the first key on the answer is no longer of what stands there: it is dimmed, and nothing in it can be clicked.
function markStale() {
  const isStale = query() !== shown;
  verdict.classList.toggle("stale", isStale);
  for (const part of verdict.querySelectorAll("#answer > :not(#line)")) part.inert = isStale;
  return isStale;
}

function askingSlowly() {
  sayNoVerdict("asking", "…", "Asking:", "the answer to what stands in the form now is on its way.");
}

function mark(field, text) {
  const slot = document.getElementById(`f-${field}-fault`);
  const control = document.getElementById(`f-${field}`);
  if (!slot || !control) return;
  slot.textContent = text ? `✗ ${text}` : "";
  if (text) control.setAttribute("aria-invalid", "true");
  else control.removeAttribute("aria-invalid");
  if (text) control.closest("details")?.setAttribute("open", "");
}

function markAll() {
  for (const invalid of form.querySelectorAll("[aria-invalid]")) mark(invalid.id.slice(2), "");
  for (const fault of verdict.querySelectorAll("[data-field]")) {
    if (fault.dataset.field) mark(fault.dataset.field, fault.querySelector(".says").textContent);
  }
}

function showRanges() {
  for (const slot of form.querySelectorAll(".range")) slot.textContent = "";
  for (const range of verdict.querySelectorAll("[data-range]")) {
    const slot = document.getElementById(`f-${range.dataset.range}-range`);
    if (slot) slot.textContent = `allowed: ${range.textContent}`;
  }
}

// The focus stays where it is; where it was in what goes, it goes to what stands in the same place, else to the line.
function swap(answer) {
  const focused = verdict.contains(document.activeElement) ? document.activeElement : null;
  const key = focused && (focused.getAttribute("href") ?? focused.id);
  verdict.replaceChildren(answer);
  if (focused) {
    const same = [...verdict.querySelectorAll("a, button, input, summary")].find(
      (other) => key && (other.getAttribute("href") ?? other.id) === key,
    );
    (same ?? line()).focus({ preventScroll: true });
  }
}

function told() {
  const answer = verdict.querySelector("#answer");
  shown = last;
  clearTimeout(slow);
  clearTimeout(again);
  markStale();
  history.replaceState(null, "", answer.dataset.href);
  verdict.removeAttribute("aria-busy");
  markAll();
  showRanges();
  pinned();
  say(line().textContent.trim());
  clearTimeout(waiting);
  askingMore?.abort();
  if (answer.dataset.ranges) waiting = setTimeout(() => more("ranges", answer.dataset.ranges), RANGES_MS);
}

async function ask() {
  const wanted = query();
  markStale();
  if (wanted === last) return;
  last = wanted;
  asking?.abort();
  askingMore?.abort();
  clearTimeout(waiting);
  clearTimeout(again);
  clearTimeout(slow);
  slow = setTimeout(askingSlowly, SLOW_MS);
  asking = new AbortController();
  verdict.setAttribute("aria-busy", "true");
  try {
    const page = await part(`/counter/verdict?${wanted}`, asking.signal);
    swap(page.querySelector("#answer"));
    told();
  } catch (error) {
    if (error.name === "AbortError") return;
    noAnswer(error);
  }
}

// The old answer stays below, dimmed, and what it allowed goes from the fields; the same is asked again by itself.
function noAnswer(error) {
  clearTimeout(slow);
  last = null;
  shown = null;
  verdict.removeAttribute("aria-busy");
  markStale();
  for (const slot of form.querySelectorAll(".range")) slot.textContent = "";
  const isBelow = [...verdict.querySelectorAll("#answer > :not(#line)")].some((part) => part.textContent.trim());
  sayNoVerdict("unanswered", "✗", "No answer:", error.message + (isBelow ? " What stands below is of before." : ""));
  say(line().textContent.trim());
  again = setTimeout(ask, Math.max(error.againMs || 0, AGAIN_MS));
}

async function more(id, address, tries = 3) {
  askingMore?.abort();
  askingMore = new AbortController();
  const place = verdict.querySelector(`#${id}`);
  try {
    const page = await part(address, askingMore.signal);
    place.replaceChildren(...page.body.children);
    if (id === "ranges") showRanges();
    return place;
  } catch (error) {
    if (error.name === "AbortError") return null;
    // All the places for what takes long may be taken: nobody waits for ranges, so they are asked for again.
    if (id === "ranges" && tries > 1) waiting = setTimeout(() => more(id, address, tries - 1), AGAIN_MS);
    else place.textContent = `No answer: ${error.message}`;
    return null;
  }
}

// A part that somebody asked for: it is opened, and gets the focus.
async function open(link, address) {
  const id = link.dataset.part;
  link.setAttribute("aria-busy", "true");
  clearTimeout(waiting);
  const place = await more(id, address.replace("/counter?", `/counter/${id}?`).replace(/&show=.*$/, ""));
  link.removeAttribute("aria-busy");
  const head = place?.querySelector("summary, h2");
  head?.closest("details")?.setAttribute("open", "");
  if (head?.matches("h2")) head.setAttribute("tabindex", "-1");
  head?.focus();
}

// An answer, a remedy or a plan: the whole order is another one, so form and answer are both taken from its page.
async function take(address, push) {
  asking?.abort();
  askingMore?.abort();
  clearTimeout(slow);
  clearTimeout(again);
  try {
    const page = await part(address);
    document.querySelector("#order").replaceChildren(...page.querySelector("#order").childNodes);
    verdict.replaceChildren(page.querySelector("#answer"));
    if (push) history.pushState(null, "", address);
    last = query();
    told();
    line().focus({ preventScroll: true });
    line().scrollIntoView({ block: "nearest" });
  } catch (error) {
    // Without a line, what was typed stays here; any other refusal is a page of its own.
    if (error instanceof NoReply) noAnswer(error);
    else if (error.name !== "AbortError") location.assign(address);
  }
}

form.addEventListener("input", () => {
  clearTimeout(typing);
  markStale();
  typing = setTimeout(ask, STILL_MS);
});
form.addEventListener("change", () => {
  clearTimeout(typing);
  typing = setTimeout(ask, 0);
});
form.addEventListener("submit", (event) => {
  if (event.submitter?.name) return; // prints added or taken away: the page is made anew
  event.preventDefault();
  clearTimeout(typing);
  ask().then(() => line().focus());
});

verdict.addEventListener("click", (event) => {
  const link = event.target.closest("a");
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey || event.button) return;
  const address = link.getAttribute("href");
  if (link.classList.contains("answer")) {
    event.preventDefault();
    take(address, true);
  } else if (link.classList.contains("part")) {
    event.preventDefault();
    open(link, address);
  } else if (address.startsWith("#f-")) {
    const control = document.getElementById(address.slice(1));
    if (!control) return;
    event.preventDefault();
    control.closest("details")?.setAttribute("open", "");
    (control.matches("fieldset") ? control.querySelector("input") : control).focus();
  }
});
verdict.addEventListener("submit", (event) => {
  if (!event.target.classList.contains("reply")) return;
  event.preventDefault();
  const pairs = new URLSearchParams();
  const data = new FormData(event.target);
  for (const [name, text] of data) if (String(text).trim()) pairs.append(name, text);
  take(`/counter?${pairs}`, true);
});
addEventListener("popstate", () => take(location.href, false));

// Names to choose from, which nobody has to wait for; without them a name is typed whole.
async function fetchLists(tries = 3) {
  try {
    const page = await part("/counter/lists");
    document.querySelector("#lists").replaceChildren(...page.body.children);
  } catch {
    if (tries > 1) setTimeout(() => fetchLists(tries - 1), AGAIN_MS);
  }
}

// On a slow line somebody may have typed before this script came: that was not answered yet.
function isTouched(control) {
  if (control.matches("select")) {
    const said = [...control.options].find((option) => option.defaultSelected) ?? control.options[0];
    return !said.selected;
  }
  return control.matches("input") && (control.value !== control.defaultValue || control.checked !== control.defaultChecked);
}

markAll();
showRanges();
pinned();
fetchLists();
if ([...form.elements].some(isTouched)) {
  last = shown = null;
  ask();
}
const ranges = verdict.querySelector("#answer").dataset.ranges;
if (ranges && !verdict.querySelector(".ranges")) waiting = setTimeout(() => more("ranges", ranges), RANGES_MS);
