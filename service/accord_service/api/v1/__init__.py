"""Version 1 of the API: one endpoint a file, listed here once."""

from accord_service.api.v1.get_catalogue import get_catalogue
from accord_service.api.v1.get_catalogue_entry import get_catalogue_entry
from accord_service.api.v1.get_catalogue_kind import get_catalogue_kind
from accord_service.api.v1.get_limit import get_limit
from accord_service.api.v1.get_limits import get_limits
from accord_service.api.v1.get_rule import get_rule
from accord_service.api.v1.get_rules import get_rules
from accord_service.api.v1.get_shop import get_shop
from accord_service.api.v1.get_source import get_source
from accord_service.api.v1.get_sources import get_sources
from accord_service.api.v1.post_recommend import post_recommend
from accord_service.api.v1.post_validate import post_validate

ENDPOINTS = (
    post_validate,
    post_recommend,
    get_catalogue,
    get_catalogue_kind,
    get_catalogue_entry,
    get_limits,
    get_limit,
    get_sources,
    get_source,
    get_rules,
    get_rule,
    get_shop,
)
