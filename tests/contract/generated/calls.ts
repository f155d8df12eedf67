import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import createClient from "openapi-fetch";
import { answers } from "./answers.js";
import { orders } from "./orders.js";
import type { components, paths } from "./schema";

const [address, counterKey, ownerKey] = process.argv.slice(2) as [string, string, string];
const clientOf = (key: string) =>
  createClient<paths>({ baseUrl: address, headers: { Authorization: `Bearer ${key}` } });
const counter = clientOf(counterKey);
const owner = clientOf(ownerKey);

function answered<T>(result: { data?: T; error?: unknown }): T {
  if (result.data === undefined) throw new Error(JSON.stringify(result.error));
  return result.data;
}

const order: components["schemas"]["Order"] = {
  item: { blank: "tote-polyester-white" },
  decorations: [
    {
      transfer: "dye-sublimation",
      placement: "front",
      size: { width: "8 in", height: "8 in" },
      artwork: { gradient: true, mirrored: true },
    },
  ],
};
const verdict = answered(await counter.POST("/v1/validate", { body: order }));
console.log("validateOrder", verdict.verdict, verdict.findings.map((finding) => finding.rule).length);
const plans = answered(await counter.POST("/v1/recommend", { body: order }));
assert(plans.plans.length > 0);
console.log("recommendPlans", plans.plans.length, plans.plans[0]?.verdict);

const rules: string[] = [];
let cursor: string | undefined;
do {
  const page = answered(await counter.GET("/v1/rules", { params: { query: { limit: 100, cursor } } }));
  rules.push(...page.entries.map((entry) => entry.id));
  cursor = page.next === null ? undefined : new URL(page.next, address).searchParams.get("cursor") ?? undefined;
} while (cursor);
assert(rules.length > 100);
assert.equal(new Set(rules).size, rules.length);
console.log("listRules", rules.length);

const head = answered(await owner.GET("/v1/revisions", { params: { query: { limit: 1 } } })).entries[0]!;
const text = "What the stewards remember.";
const source = { title: "A new source", kind: "from-memory", text, speaks_of: ["handling"] };
const preview = answered(
  await owner.POST("/v1/proposals", {
    params: { query: { validate_only: true } },
    body: {
      base: { revision: head.revision, digest: head.digest },
      changes: [{ kind: "sources", id: "remembered", value: source }],
      reason: "It is missing.",
      evidence: "None.",
    },
  }),
);
assert.deepEqual([preview.proposal_id, preview.state], [null, "draft"]);
console.log("draftProposal", preview.state);

const once = { params: { header: { "Idempotency-Key": "generated-2" } }, body: order };
const made = answered(await counter.POST("/v1/records", once));
const record_id = made.record_id!;
assert.deepEqual(answered(await counter.GET("/v1/records/{record_id}", { params: { path: { record_id } } })), made);
console.log("recordOrder", record_id);

// Orders and answers are literals of the described types, so that one these have no room for does not compile.
const day: { tokens: string[] } = JSON.parse(readFileSync("day.json", "utf-8"));
assert(orders.length > 300);
for (const [place, sent] of orders.entries()) {
  const judged = answered(await clientOf(day.tokens[place]!).POST("/v1/validate", { body: sent }));
  assert.deepEqual(judged, answers[place], sent.reference ?? undefined);
}
console.log("the demo's orders", orders.length);

const { error, response } = await counter.POST("/v1/validate", { body: { ...order, decorations: [] } });
assert.deepEqual([response.status, error?.type], [422, "/problems/faulty-document"]);
console.log("a problem", error?.errors[0]?.pointer);
