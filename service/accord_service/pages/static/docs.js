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

document.querySelector("form.key").addEventListener("submit", (event) => event.preventDefault());

// A link to a shape opens it.
function openTarget() {
  const target = document.getElementById(decodeURIComponent(location.hash.slice(1)));
  if (target instanceof HTMLDetailsElement) target.open = true;
}
addEventListener("hashchange", openTarget);
openTarget();
