"""Version 1 of the API: one endpoint a file, listed here once."""

from accord_service.api.v1.delete_house_rule import delete_house_rule
from accord_service.api.v1.delete_key import delete_key
from accord_service.api.v1.delete_press_reading import delete_press_reading
from accord_service.api.v1.delete_record_reference import delete_record_reference
from accord_service.api.v1.get_audit import get_audit
from accord_service.api.v1.get_audit_check import get_audit_check
from accord_service.api.v1.get_audit_head import get_audit_head
from accord_service.api.v1.get_bundle import get_bundle
from accord_service.api.v1.get_catalogue import get_catalogue
from accord_service.api.v1.get_catalogue_entry import get_catalogue_entry
from accord_service.api.v1.get_catalogue_kind import get_catalogue_kind
from accord_service.api.v1.get_entry_history import get_entry_history
from accord_service.api.v1.get_fact import get_fact
from accord_service.api.v1.get_facts import get_facts
from accord_service.api.v1.get_house_limit import get_house_limit
from accord_service.api.v1.get_house_rule import get_house_rule
from accord_service.api.v1.get_house_rules import get_house_rules
from accord_service.api.v1.get_house_version import get_house_version
from accord_service.api.v1.get_house_versions import get_house_versions
from accord_service.api.v1.get_key import get_key
from accord_service.api.v1.get_keys import get_keys
from accord_service.api.v1.get_limit import get_limit
from accord_service.api.v1.get_limits import get_limits
from accord_service.api.v1.get_news import get_news
from accord_service.api.v1.get_outcomes import get_outcomes
from accord_service.api.v1.get_press_reading import get_press_reading
from accord_service.api.v1.get_press_readings import get_press_readings
from accord_service.api.v1.get_proposal import get_proposal
from accord_service.api.v1.get_proposal_changes import get_proposal_changes
from accord_service.api.v1.get_proposal_effect import get_proposal_effect
from accord_service.api.v1.get_proposal_status import get_proposal_status
from accord_service.api.v1.get_proposals import get_proposals
from accord_service.api.v1.get_record import get_record
from accord_service.api.v1.get_record_outcome import get_record_outcome
from accord_service.api.v1.get_record_outcomes import get_record_outcomes
from accord_service.api.v1.get_record_replay import get_record_replay
from accord_service.api.v1.get_record_ticket import get_record_ticket
from accord_service.api.v1.get_records import get_records
from accord_service.api.v1.get_revision import get_revision
from accord_service.api.v1.get_revision_changes import get_revision_changes
from accord_service.api.v1.get_revisions import get_revisions
from accord_service.api.v1.get_rule import get_rule
from accord_service.api.v1.get_rules import get_rules
from accord_service.api.v1.get_search import get_search
from accord_service.api.v1.get_shop import get_shop
from accord_service.api.v1.get_shop_entry import get_shop_entry
from accord_service.api.v1.get_shop_press import get_shop_press
from accord_service.api.v1.get_shop_status import get_shop_status
from accord_service.api.v1.get_shop_version import get_shop_version
from accord_service.api.v1.get_shop_versions import get_shop_versions
from accord_service.api.v1.get_shops import get_shops
from accord_service.api.v1.get_source import get_source
from accord_service.api.v1.get_sources import get_sources
from accord_service.api.v1.get_sourcing import get_sourcing
from accord_service.api.v1.get_step import get_step
from accord_service.api.v1.get_steps import get_steps
from accord_service.api.v1.post_envelope import post_envelope
from accord_service.api.v1.post_house_rules import post_house_rules
from accord_service.api.v1.post_key_confirm import post_key_confirm
from accord_service.api.v1.post_keys import post_keys
from accord_service.api.v1.post_outcome_withdraw import post_outcome_withdraw
from accord_service.api.v1.post_press_reading_confirm import post_press_reading_confirm
from accord_service.api.v1.post_press_readings import post_press_readings
from accord_service.api.v1.post_proposal_approve import post_proposal_approve
from accord_service.api.v1.post_proposal_decline import post_proposal_decline
from accord_service.api.v1.post_proposal_effect_cancel import post_proposal_effect_cancel
from accord_service.api.v1.post_proposal_open import post_proposal_open
from accord_service.api.v1.post_proposal_publish import post_proposal_publish
from accord_service.api.v1.post_proposal_withdraw import post_proposal_withdraw
from accord_service.api.v1.post_proposals import post_proposals
from accord_service.api.v1.post_recommend import post_recommend
from accord_service.api.v1.post_record_outcomes import post_record_outcomes
from accord_service.api.v1.post_records import post_records
from accord_service.api.v1.post_revision_revert import post_revision_revert
from accord_service.api.v1.post_shops import post_shops
from accord_service.api.v1.post_validate import post_validate
from accord_service.api.v1.post_validate_batch import post_validate_batch
from accord_service.api.v1.put_house_limit import put_house_limit
from accord_service.api.v1.put_house_rule import put_house_rule
from accord_service.api.v1.put_house_rules import put_house_rules
from accord_service.api.v1.put_proposal import put_proposal
from accord_service.api.v1.put_shop import put_shop
from accord_service.api.v1.put_shop_entry import put_shop_entry
from accord_service.api.v1.put_shop_press import put_shop_press
from accord_service.http import wire

ENDPOINTS = (
    post_validate,
    post_validate_batch,
    post_recommend,
    post_envelope,
    get_bundle,
    get_catalogue,
    get_catalogue_kind,
    get_catalogue_entry,
    get_limits,
    get_limit,
    get_sources,
    get_sourcing,
    get_source,
    get_rules,
    get_rule,
    get_steps,
    get_step,
    get_facts,
    get_fact,
    get_search,
    get_outcomes,
    get_revisions,
    get_revision,
    get_revision_changes,
    get_entry_history,
    post_revision_revert,
    get_proposals,
    post_proposals,
    get_proposal,
    put_proposal,
    get_proposal_status,
    get_proposal_changes,
    post_proposal_open,
    get_proposal_effect,
    post_proposal_effect_cancel,
    post_proposal_approve,
    post_proposal_decline,
    post_proposal_withdraw,
    post_proposal_publish,
    get_records,
    post_records,
    get_record,
    get_record_replay,
    get_record_ticket,
    delete_record_reference,
    get_record_outcomes,
    post_record_outcomes,
    get_record_outcome,
    post_outcome_withdraw,
    get_shop,
    put_shop,
    get_shop_status,
    get_shop_press,
    put_shop_press,
    get_press_readings,
    post_press_readings,
    get_news,
    get_press_reading,
    delete_press_reading,
    post_press_reading_confirm,
    get_shop_versions,
    get_shop_version,
    get_house_rules,
    put_house_rules,
    post_house_rules,
    get_house_versions,
    get_house_version,
    get_house_limit,
    put_house_limit,
    get_house_rule,
    put_house_rule,
    delete_house_rule,
    get_shops,
    post_shops,
    get_shop_entry,
    put_shop_entry,
    get_keys,
    post_keys,
    get_key,
    delete_key,
    post_key_confirm,
    get_audit,
    get_audit_head,
    get_audit_check,
)

# Told when the service starts, not when somebody reads the description.
wire.named_once(
    cls
    for endpoint in ENDPOINTS
    for root in (endpoint.answers, endpoint.takes)
    if root is not None
    for cls in wire.dataclasses_in(root)
)
