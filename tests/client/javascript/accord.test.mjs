// What needs no service: the words, what is never sent, what is never shown. Run by test_javascript.py: node --test.
import assert from "node:assert/strict";
import { test } from "node:test";
import { inspect } from "node:util";
import * as client from "../../../clients/javascript/accord.js";

const { Accord, BadAnswer, NotJson, UnsafeAddress, blocks, judgedOn, workable } = client;
const TOKEN = "accord_aaaaaaaaaaaaaaaa_secret";

const PRESS = {
  press: "bench", press_title: "bench", verdict: "rejected", settings: null, pressings: null, titles: {},
  sequence: null, blocked_by: ["x"], because: "No.",
};
const VERDICT = {
  id: "vd_1", verdict: "rejected", unsaid: null, revision: 1, digest: "d", house_digest: "", basis: "live",
  judged_on: "bench", presses: [PRESS], findings: [], conditions: [], samples: [], needs: [], assumed: [], remedies: [],
  remedies_complete: true, reference: null,
};
const SETTINGS = { settings: [{ temperature: "200 °C" }], pressings: [["main"]], sequence: [0] };

/** A client whose service answers so; `seen` gets each request. */
function answering(document, seen = []) {
  const fetch = async (url, init) => {
    seen.push({ url, ...init });
    return new Response(JSON.stringify(document), { headers: { "Content-Type": "application/json" } });
  };
  return new Accord("https://accord.example", TOKEN, { fetch });
}

test("only two words are workable", () => {
  for (const word of ["accepted", "conditional"]) assert.equal(workable({ verdict: word }), true);
  for (const word of ["rejected", "undetermined", "ACCEPTED", "fine", "", "__proto__", "constructor", true, null, undefined]) {
    assert.equal(workable({ verdict: word }), false);
  }
  for (const nothing of [null, undefined, "accepted", [], {}]) assert.equal(workable(nothing), false);
});

test("a level that is not known stands against the order", () => {
  for (const level of ["requires", "cautions", "notes"]) assert.equal(blocks({ level }), false);
  for (const level of ["blocks", "forbids", undefined]) assert.equal(blocks({ level }), true);
  assert.equal(blocks(undefined), true);
});

for (const [what, verdict, press] of [
  ["a rejected order", "rejected", "rejected"],
  ["an order that something unsaid could block", "undetermined", "undetermined"],
  ["a verdict of a later service", "splendid", "splendid"],
  ["a rejected order with one press that says otherwise", "rejected", "accepted"],
]) {
  test(`${what} carries no settings, whatever was sent`, async () => {
    const sent = { ...VERDICT, verdict, presses: [{ ...PRESS, ...SETTINGS, verdict: press }] };
    const got = await answering(sent).validate({});
    assert.deepEqual(got.presses, [{ ...PRESS, verdict: press }]);
    assert.doesNotMatch(JSON.stringify(got), /200 °C/);
  });
}

test("an accepted order keeps its settings", async () => {
  const presses = [{ ...PRESS, ...SETTINGS, verdict: "accepted" }];
  const got = await answering({ ...VERDICT, verdict: "accepted", presses }).validate({});
  assert.deepEqual(judgedOn(got).settings, SETTINGS.settings);
});

test("an answer cannot be changed by who got it", async () => {
  const got = await answering({ ...VERDICT, weather: { is: "fine" } }).validate({});
  assert.throws(() => (got.verdict = "accepted"), TypeError);
  assert.throws(() => (got.presses[0].settings = []), TypeError);
  assert.throws(() => (got.weather.is = "foul"), TypeError);
});

test("a verdict that says nothing of its press is no answer", () => {
  assert.throws(() => judgedOn({ ...VERDICT, judged_on: "mug" }), BadAnswer);
});

const loop = {};
loop.itself = loop;
for (const [what, order] of [
  ["NaN", { quantity: NaN }], ["Infinity", { a: { b: [Infinity] } }], ["a Set", { evidence: new Set(["sample-test"]) }],
  ["a Map", { item: new Map() }], ["a function", { item: () => 1 }], ["a BigInt", { quantity: 7n }],
  ["a hole", { decorations: [undefined] }], ["a circle", loop], ["nothing", undefined], ["a bare Map", new Map()], ["a bare NaN", NaN],
]) {
  test(`${what} is never sent`, async () => {
    const seen = [];
    await assert.rejects(answering(VERDICT, seen).validate(order), NotJson);
    assert.deepEqual(seen, []);
  });
}

test("what is left undefined is unsaid", async () => {
  const seen = [];
  await answering(VERDICT, seen).validate({ item: { blank: "tee" }, press: undefined });
  assert.equal(new TextDecoder().decode(seen[0].body), '{"item":{"blank":"tee"}}');
});

test("nothing of the browser's own goes along", async () => {
  const seen = [];
  await answering(VERDICT, seen).validate({});
  const { credentials, redirect, referrerPolicy } = seen[0];
  assert.deepEqual([credentials, redirect, referrerPolicy], ["omit", "manual", "no-referrer"]);
});

for (const url of ["http://accord.example", "http://10.0.0.7", "http://127.0.0.1.evil.example", "http://localhost.example"]) {
  test(`the token does not go to ${url}`, () => {
    assert.throws(() => new Accord(url, TOKEN), (error) => error instanceof UnsafeAddress && !error.message.includes(TOKEN));
    assert.equal(new Accord(url, TOKEN, { allowInsecure: true }).baseUrl, url);
  });
}

test("this machine may be asked over http", () => {
  for (const url of ["http://127.0.0.1:8080", "http://localhost:8080", "http://[::1]:8080"]) {
    assert.equal(new Accord(`${url}/`, TOKEN).baseUrl, url);
  }
});

for (const url of ["accord.example", "ftp://a.example", "https://a:b@c.example", "https://a.example?x=1", "https://a.example#x", ""]) {
  test(`${JSON.stringify(url)} is no address`, () => assert.throws(() => new Accord(url, TOKEN), TypeError));
}

test("a token is one word, and messages do not repeat it", () => {
  for (const token of ["", "two words", "li\nne", "ü", undefined, null, 7]) {
    assert.throws(
      () => new Accord("https://a.example", token),
      (error) => error instanceof TypeError && (!token || !error.message.includes(token)),
    );
  }
});

test("nothing that prints a client shows its token", async () => {
  const accord = answering(VERDICT);
  const failing = new Accord("https://a.example", TOKEN, {
    retries: 0,
    fetch: async () => Promise.reject(new TypeError("fetch failed", { cause: new Error("refused") })),
  });
  const error = await failing.validate({}).catch((caught) => caught);
  for (const shown of [inspect(accord, { depth: 9, showHidden: true }), JSON.stringify(accord), String(accord), inspect(error, { depth: 9 })]) {
    assert.ok(!shown.includes("secret"), shown);
  }
});

test("errors are named, whatever a bundler calls their classes", () => {
  for (const name of ["InvalidOrder", "TimedOut", "TooManyRequests"]) assert.equal(client[name].prototype.name, name);
});

/** Orders of which the last can't be taken, or can't be sent. */
async function* torn(count, error, unsendable) {
  try {
    for (let n = 0; n < count; n += 1) yield { n };
    if (unsendable) yield { n: NaN };
    throw error;
  } finally {
    torn.closed += 1;
  }
}
torn.closed = 0;

for (const [count, unsendable] of [[0, false], [2, false], [2, true]]) {
  test(`orders that break off behind ${count} (${unsendable}) are answered so far`, async () => {
    const [mine, bodies, got] = [new Error("the disk is gone"), [], []];
    const fetch = async (url, init) => {
      bodies.push(new TextDecoder().decode(init.body));
      const lines = Array.from({ length: count }, (_, n) => ({ line: n + 1, status: 200, answer: VERDICT }));
      const said = [...lines, { end: true, revision: 1, next_line: null }].map((line) => `${JSON.stringify(line)}\n`);
      return new Response(said.join(""), { headers: { "Content-Type": "application/x-ndjson" } });
    };
    const taking = async () => {
      const accord = new Accord("https://accord.example", TOKEN, { fetch });
      for await (const answer of accord.validateAll(torn(count, mine, unsendable))) got.push(answer.line);
    };
    await assert.rejects(taking(), (error) => (unsendable ? error instanceof NotJson : error === mine));
    assert.deepEqual(got, [1, 2].slice(0, count));
    assert.deepEqual(bodies, count > 0 ? ['{"n":0}\n{"n":1}\n'] : []);
  });
}

test("whoever takes no more answers closes the orders", async () => {
  const before = torn.closed;
  const lines = `${JSON.stringify({ line: 1, status: 200, answer: VERDICT })}\n`;
  const fetch = async () => new Response(lines, { headers: { "Content-Type": "application/x-ndjson" } });
  const big = async function* () {
    try {
      for (;;) yield { reference: "x".repeat(300_000) };
    } finally {
      torn.closed += 1;
    }
  };
  for await (const answer of new Accord("https://accord.example", TOKEN, { fetch }).validateAll(big())) {
    assert.equal(answer.line, 1);
    break;
  }
  assert.equal(torn.closed, before + 1);
});
