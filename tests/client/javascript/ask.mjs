// Makes calls of the client as told on standard input, and says as JSON what came of each: a value or an error.
//   {"url", "token", "options": {...}, "calls": [{"method", "args": [...], "take": most of a list}]}
import { Accord, AccordError, workable } from "../../../clients/javascript/accord.js";

const told = JSON.parse(await new Response(process.stdin).text());
const waits = [];
const sleep = async (seconds) => void waits.push(seconds);

async function taken(made, most) {
  if (typeof made?.[Symbol.asyncIterator] !== "function") return made;
  const values = [];
  if (most === 0) return values;
  for await (const value of made) {
    values.push(value?.problem instanceof AccordError ? { ...value, problem: said(value.problem) } : value);
    if (values.length === most) break;
  }
  return values;
}

function said(error) {
  const fields = ["status", "errors", "retryAfterS", "title", "requestId"].filter((name) => name in error);
  const is = { accord: error instanceof AccordError, name: error.name, message: error.message };
  return { ...is, ...Object.fromEntries(fields.map((name) => [name, error[name]])) };
}

const outcomes = [];
for (const { method, args, take } of told.calls) {
  try {
    const accord = new Accord(told.url, told.token, { sleep, ...told.options });
    const value = await taken(accord[method](...args), take);
    outcomes.push({ value: value ?? null, workable: workable(value) });
  } catch (error) {
    outcomes.push({ error: said(error) });
  }
}
console.log(JSON.stringify({ outcomes, waits }));
