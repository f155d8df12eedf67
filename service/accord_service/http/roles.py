"""Who may do what: the one table of endpoints and roles.

counter < operator < owner are a shop's own; steward and admin serve the collective. A key of any role may belong to a
shop, and then asks for that shop; one that belongs to none can only do what needs no shop. A storefront's is nobody's:
it stands in a page that anybody can read, so it may ask whether an order can be done, and nothing else.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

STOREFRONT = "storefront"
# Where a storefront may ask.
STOREFRONT_PATH = "/v1/validate"
ROLES = (STOREFRONT, "counter", "operator", "owner", "steward", "admin")
SHOP_ROLES = (STOREFRONT, "counter", "operator", "owner")
# The shop of keys that belong to none. No shop may be called so.
COLLECTIVE = "collective"

_STAFF = ("counter", "operator", "owner", "steward", "admin")
_SHOP_STAFF = ("counter", "operator", "owner")
_PROPOSERS = ("operator", "owner", "steward", "admin")

MAY: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        # Orders
        "post_validate": ROLES,
        "post_validate_batch": _STAFF,
        "post_recommend": _STAFF,
        "post_envelope": _STAFF,
        # Book
        "get_catalogue": _STAFF,
        "get_catalogue_kind": _STAFF,
        "get_catalogue_entry": _STAFF,
        "get_limits": _STAFF,
        "get_limit": _STAFF,
        "get_sources": _STAFF,
        "get_sourcing": _STAFF,
        "get_source": _STAFF,
        "get_rules": _STAFF,
        "get_rule": _STAFF,
        "get_steps": _STAFF,
        "get_step": _STAFF,
        "get_facts": _STAFF,
        "get_fact": _STAFF,
        "get_search": _STAFF,
        # Changes
        "get_outcomes": _STAFF,
        "get_revisions": _STAFF,
        "get_revision": _STAFF,
        "get_revision_changes": _STAFF,
        "get_entry_history": _STAFF,
        "post_revision_revert": _PROPOSERS,
        "get_proposals": _STAFF,
        "post_proposals": _PROPOSERS,
        "get_proposal": _STAFF,
        "get_proposal_status": _STAFF,
        "get_proposal_changes": _STAFF,
        "put_proposal": _PROPOSERS,
        "post_proposal_open": _PROPOSERS,
        "get_proposal_effect": _PROPOSERS,
        "post_proposal_effect_cancel": _PROPOSERS,
        "post_proposal_approve": ("steward",),
        "post_proposal_decline": ("steward",),
        "post_proposal_withdraw": _PROPOSERS,
        "post_proposal_publish": ("steward",),
        "get_news": _STAFF,
        # Records
        "get_records": _STAFF,
        "post_records": _STAFF,
        "get_record": _STAFF,
        "get_record_replay": _STAFF,
        "get_record_ticket": _STAFF,
        "delete_record_reference": ("operator", "owner"),
        "get_record_outcomes": _STAFF,
        "post_record_outcomes": _STAFF,
        "get_record_outcome": _STAFF,
        "post_outcome_withdraw": _STAFF,
        # Shop
        "get_shop": _STAFF,
        "put_shop": ("owner",),
        "get_shop_status": _STAFF,
        "get_bundle": _STAFF,
        "get_shop_press": _STAFF,
        "put_shop_press": ("owner",),
        "get_press_readings": _STAFF,
        "post_press_readings": ("operator", "owner"),
        "get_press_reading": _STAFF,
        "post_press_reading_confirm": ("owner",),
        "delete_press_reading": ("operator", "owner"),
        "get_house_rules": _SHOP_STAFF,
        "put_house_rules": ("owner",),
        "post_house_rules": ("owner",),
        "get_house_rule": _SHOP_STAFF,
        "put_house_rule": ("owner",),
        "delete_house_rule": ("owner",),
        "get_house_limit": _SHOP_STAFF,
        "put_house_limit": ("owner",),
        "get_house_versions": _SHOP_STAFF,
        "get_house_version": _SHOP_STAFF,
        "get_shop_versions": _STAFF,
        "get_shop_version": _STAFF,
        # Administration
        "get_shops": ("steward", "admin"),
        "post_shops": ("admin",),
        "get_shop_entry": ("admin",),
        "put_shop_entry": ("admin",),
        "get_keys": ("owner", "admin"),
        "post_keys": ("owner", "admin"),
        "get_key": ("owner", "admin"),
        "delete_key": ("owner", "admin"),
        "post_key_confirm": ("admin",),
        "get_audit": ("steward", "admin"),
        "get_audit_check": ("steward", "admin"),
        "get_audit_head": _STAFF,
    }
)
