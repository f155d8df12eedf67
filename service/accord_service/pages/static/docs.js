// The forms on the API page: send what is filled in, show what comes back. No library, no other host.
"use strict";

const key = document.querySelector("#key");

function addressOf(form) {
  let path = form.dataset.path;
  const query = new URLSearchParams();
  for (const field of form.querySelectorAll("[data-in]")) {
    if (field.dataset.in === "path") {
      path = path.replace(`{${field.name}}`, encodeURIComponent(field.value));
    } else if (field.dataset.in === "query" && field.value) {
      query.set(field.name, field.value);
    }
  }
  return query.size ? `${path}?${query}` : path;
}

function requestOf(form) {
  const sent = form.querySelector(".sent");
  const headers = {};
  if (key.value) headers.Authorization = `Bearer ${key.value}`;
  if (sent) headers["Content-Type"] = sent.dataset.mediaType;
  for (const field of form.querySelectorAll("[data-in=header]")) {
    if (field.value) headers[field.name] = field.value;
  }
  return { method: form.dataset.method, headers, body: sent ? sent.value : undefined };
}

function pretty(text) {
  try {
    return JSON.stringify(JSON.parse(text), null, 2);
  } catch {
    return text;
  }
}

async function send(form) {
  const output = form.querySelector("output");
  output.textContent = "…";
  try {
    const answer = await fetch(addressOf(form), requestOf(form));
    const text = pretty(await answer.text());
    const timing = answer.headers.get("Server-Timing") ?? "";
    output.textContent = `${answer.status} ${answer.statusText}  ${timing}\n\n${text}`;
    output.className = answer.ok ? "ok" : "refused";
  } catch (error) {
    output.textContent = `No answer: ${error.message}`;
    output.className = "refused";
  }
}

for (const form of document.querySelectorAll(".try form")) {
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    send(form);
  });
  form.querySelector(".pick")?.addEventListener("change", (event) => {
    const template = form.querySelector(`template[data-example="${event.target.value}"]`);
    const sent = form.querySelector(".sent");
    sent.value = template.content.textContent;
    sent.dataset.mediaType = template.dataset.mediaType;
  });
}

// A choice of a field goes into the body; what is no JSON is left as it is.
for (const choice of document.querySelectorAll(".try [data-field]")) {
  choice.addEventListener("change", () => {
    const sent = choice.form.querySelector(".sent");
    let body;
    try {
      body = JSON.parse(sent.value);
    } catch {
      return;
    }
    if (choice.value === "" || typeof body !== "object" || body === null) return;
    const value = choice.dataset.type === "boolean" ? choice.value === "true" : choice.value;
    body[choice.dataset.field] = choice.dataset.type.startsWith("list of") ? [value] : value;
    sent.value = JSON.stringify(body, null, 2);
  });
}

document.querySelector("form.key").addEventListener("submit", (event) => event.preventDefault());

// Operations, shapes, fields and their words, found while somebody types.
const FOUND_MOST = 60;

function listed() {
  const entries = [];
  for (const section of document.querySelectorAll("section.operation")) {
    const [head, lead] = [section.querySelector("h2"), section.querySelector(".lead")];
    const parameters = [...section.querySelectorAll(":scope > table td:first-child")].map((cell) => cell.textContent);
    const name = `${head.querySelector(".method").textContent} ${head.querySelector("code").textContent}`;
    entries.push({ name, about: lead.textContent, address: `#${section.id}`, more: `${section.id} ${parameters.join(" ")}` });
  }
  for (const shape of document.querySelectorAll("details.shape")) {
    const name = shape.querySelector("strong").textContent;
    entries.push({ name, about: shape.querySelector(".hint").textContent, address: `#${shape.id}`, more: "" });
    for (const row of shape.querySelectorAll("tbody tr")) {
      const [field, , about] = row.cells;
      const word = field.querySelector("code").textContent;
      entries.push({ name: word, about: `of ${name}`, address: `#${shape.id}`, more: about.textContent });
    }
  }
  for (const entry of entries) entry.text = `${entry.name} ${entry.about} ${entry.more}`.toLowerCase();
  return entries;
}

function lookUp(form) {
  const [field, told, list] = [form.querySelector("input"), form.querySelector("p"), form.querySelector("ul")];
  let entries = null;
  form.hidden = false;
  form.addEventListener("submit", (event) => event.preventDefault());
  field.addEventListener("input", () => {
    entries ??= listed();
    const words = field.value.toLowerCase().split(/\s+/).filter(Boolean);
    const found = words.length ? entries.filter((entry) => words.every((word) => entry.text.includes(word))) : [];
    const named = (entry) => (entry.name.toLowerCase() === words.join(" ") ? 0 : entry.name.toLowerCase().includes(words[0]) ? 1 : 2);
    found.sort((one, other) => named(one) - named(other));
    told.textContent = words.length ? `${found.length} found${found.length > FOUND_MOST ? `, the first ${FOUND_MOST}` : ""}` : "";
    list.replaceChildren(
      ...found.slice(0, FOUND_MOST).map((entry) => {
        const [item, link] = [document.createElement("li"), document.createElement("a")];
        link.href = entry.address;
        link.textContent = entry.name;
        item.append(link, ` ${entry.about}`);
        return item;
      }),
    );
  });
}

lookUp(document.querySelector(".look-up"));

// A link to a shape opens it.
function openTarget() {
  const target = document.getElementById(decodeURIComponent(location.hash.slice(1)));
  if (target instanceof HTMLDetailsElement) target.open = true;
}
addEventListener("hashchange", openTarget);
openTarget();
