"""Who may do what: the one table of endpoints and roles.

counter < operator < owner are a shop's own; steward and admin serve the collective. A key of any role may belong to a
shop, and then asks for that shop; one that belongs to none can only do what needs no shop.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

ROLES = ("counter", "operator", "owner", "steward", "admin")
SHOP_ROLES = ("counter", "operator", "owner")
# The shop of keys that belong to none. No shop may be called so.
COLLECTIVE = "collective"

_EVERYBODY = ROLES
_PROPOSERS = ("operator", "owner", "steward", "admin")

MAY: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        # Orders
        "post_validate": _EVERYBODY,
        "post_validate_batch": _EVERYBODY,
        "post_recommend": _EVERYBODY,
        "post_envelope": _EVERYBODY,
        # Book
        "get_catalogue": _EVERYBODY,
        "get_catalogue_kind": _EVERYBODY,
        "get_catalogue_entry": _EVERYBODY,
        "get_limits": _EVERYBODY,
        "get_limit": _EVERYBODY,
        "get_sources": _EVERYBODY,
        "get_sourcing": _EVERYBODY,
        "get_source": _EVERYBODY,
        "get_rules": _EVERYBODY,
        "get_rule": _EVERYBODY,
        "get_steps": _EVERYBODY,
        "get_step": _EVERYBODY,
        "get_facts": _EVERYBODY,
        "get_fact": _EVERYBODY,
        # Changes
        "get_revisions": _EVERYBODY,
        "get_revision": _EVERYBODY,
        "get_revision_changes": _EVERYBODY,
        "post_revision_revert": _PROPOSERS,
        "get_proposals": _EVERYBODY,
        "post_proposals": _PROPOSERS,
        "get_proposal": _EVERYBODY,
        "get_proposal_status": _EVERYBODY,
        "put_proposal": _PROPOSERS,
        "post_proposal_open": _PROPOSERS,
        "get_proposal_effect": _PROPOSERS,
        "post_proposal_effect_cancel": _PROPOSERS,
        "post_proposal_approve": ("steward",),
        "post_proposal_decline": ("steward",),
        "post_proposal_withdraw": _PROPOSERS,
        "post_proposal_publish": ("steward",),
        "get_news": _EVERYBODY,
        # Records
        "get_records": _EVERYBODY,
        "post_records": _EVERYBODY,
        "get_record": _EVERYBODY,
        "get_record_replay": _EVERYBODY,
        "delete_record_reference": ("operator", "owner"),
        "get_record_outcomes": _EVERYBODY,
        "post_record_outcomes": _EVERYBODY,
        "get_record_outcome": _EVERYBODY,
        "post_outcome_withdraw": _EVERYBODY,
        # Shop
        "get_shop": _EVERYBODY,
        "put_shop": ("owner",),
        "get_shop_status": _EVERYBODY,
        "get_bundle": _EVERYBODY,
        "get_shop_press": _EVERYBODY,
        "put_shop_press": ("owner",),
        "get_press_readings": _EVERYBODY,
        "post_press_readings": ("operator", "owner"),
        "get_press_reading": _EVERYBODY,
        "post_press_reading_confirm": ("owner",),
        "delete_press_reading": ("operator", "owner"),
        "get_house_rules": SHOP_ROLES,
        "put_house_rules": ("owner",),
        "post_house_rules": ("owner",),
        "get_house_rule": SHOP_ROLES,
        "put_house_rule": ("owner",),
        "delete_house_rule": ("owner",),
        "get_house_limit": SHOP_ROLES,
        "put_house_limit": ("owner",),
        "get_house_versions": SHOP_ROLES,
        "get_house_version": SHOP_ROLES,
        "get_shop_versions": _EVERYBODY,
        "get_shop_version": _EVERYBODY,
        # Administration
        "get_shops": ("admin",),
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
        "get_audit_head": _EVERYBODY,
    }
)
