"""The calls that a shop's tool makes, with the client that openapi-python-client generates into ``generated``."""

import json
import sys
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

from generated import models
from generated.api.book import list_rules
from generated.api.changes import draft_proposal
from generated.api.orders import recommend_plans, validate_order
from generated.api.records import read_record, record_order
from generated.api.shop import read_own_shop, replace_own_shop
from generated.client import AuthenticatedClient

address, *tokens = sys.argv[1:]
counter, owner = (AuthenticatedClient(base_url=address, token=token) for token in tokens)
paths = json.loads(Path("openapi.json").read_text(encoding="utf-8"))["paths"]


def example(path):
    """The first request that the description shows."""
    content = paths[path]["post"]["requestBody"]["content"]["application/json"]
    return next(iter(content["examples"].values()))["value"]


order = models.Order.from_dict(example("/v1/validate"))
assert order.to_dict() == example("/v1/validate")
verdict = validate_order.sync_detailed(client=counter, body=order)
assert verdict.status_code == 200
print("validateOrder", verdict.parsed.verdict, [finding.rule for finding in verdict.parsed.findings])

body = paths["/v1/recommend"]["post"]["requestBody"]["content"]["application/json"]["schema"]["$ref"]
wish = getattr(models, body.rpartition("/")[2]).from_dict(example("/v1/recommend"))
plans = recommend_plans.sync(client=counter, body=wish).plans
assert plans
print("recommendPlans", len(plans))

rules, cursor = [], {}
while True:
    page = list_rules.sync(client=counter, limit=100, **cursor)
    rules += [entry.id for entry in page.entries]
    if page.next_ is None:
        break
    cursor = {"cursor": parse_qs(urlsplit(page.next_).query)["cursor"][0]}
assert len(set(rules)) == len(rules) > 100
print("listRules", len(rules))

proposal = models.Proposed.from_dict(example("/v1/proposals"))
preview = draft_proposal.sync(client=owner, body=proposal, validate_only=True)
assert (preview.proposal_id, preview.state) == (None, "draft")
print("draftProposal", preview.state)

recorded = record_order.sync_detailed(client=counter, body=order, idempotency_key="generated-1")
assert recorded.status_code == 201
assert read_record.sync(client=counter, record_id=recorded.parsed.record_id).to_dict() == recorded.parsed.to_dict()
print("recordOrder", recorded.headers["Location"])

shop = read_own_shop.sync_detailed(client=owner)
back = replace_own_shop.sync_detailed(client=owner, body=shop.parsed, if_match=shop.headers["ETag"])
assert (back.status_code, back.headers["ETag"]) == (200, shop.headers["ETag"])
assert read_own_shop.sync_detailed(client=owner, if_none_match=shop.headers["ETag"]).status_code == 304
print("replaceOwnShop", back.status_code.value)

day = json.loads(Path("day.json").read_text(encoding="utf-8"))
callers = {token: AuthenticatedClient(base_url=address, token=token) for token in set(day["tokens"])}


def written(document):
    """As text, in which 1, 1.0 and true differ as they do in JSON."""
    return json.dumps(document, sort_keys=True)


for sent, answered, token in zip(day["orders"], day["answers"], day["tokens"], strict=True):
    modelled = models.Order.from_dict(sent)
    assert written(modelled.to_dict()) == written(sent), sent["reference"]
    judged = validate_order.sync(client=callers[token], body=modelled)
    assert written(judged.to_dict()) == written(answered), sent["reference"]
assert len(day["orders"]) > 300
print("the demo's orders", len(day["orders"]))

refused = validate_order.sync(client=counter, body=models.Order.from_dict({"item": {}, "decorations": []}))
assert refused.type_ == "/problems/faulty-document"
print("a problem", refused.errors[0].message)
