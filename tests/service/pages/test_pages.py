"""The pages for people: they stand on their own, load nothing from elsewhere, and show what the API declares."""

from __future__ import annotations

import gzip
import html
import re

import pytest
from flask.testing import FlaskClient

from accord_service.api.v1 import ENDPOINTS

PAGES = ["/", "/docs", "/problems", "/problems/not-found"]


@pytest.mark.parametrize("path", PAGES)
def test_pages_load_nothing_from_elsewhere(client: FlaskClient, path: str) -> None:
    page = client.get(path)
    assert page.mimetype == "text/html"
    loaded = re.findall(r'<(?:script|link|img)[^>]+(?:src|href)="([^"]+)"', page.text)
    assert loaded
    for address in loaded:
        assert address.startswith("/static/")
        assert client.get(address, buffered=True).status_code == 200
    assert "default-src 'self'" in page.headers["Content-Security-Policy"]
    assert not re.search(r"<script>|<style|style=|onclick=", page.text)  # the policy would not run them


def test_a_static_file_is_kept_under_the_digest_that_pages_name(client: FlaskClient) -> None:
    (address,) = re.findall(r'href="(/static/pages.css[^"]*)"', client.get("/").text)
    assert client.get(address, buffered=True).headers["Cache-Control"] == "public, max-age=31536000, immutable"
    for other in ("/static/pages.css", "/static/pages.css?v=another"):
        assert client.get(other, buffered=True).headers["Cache-Control"] == "no-cache"


def test_a_page_with_a_sheet_of_its_own_loads_it_joined_to_that_of_all_pages(client: FlaskClient) -> None:
    joined, both = (client.get(f"/static/{name}", buffered=True) for name in ("counter-page.css", "pages.css"))
    own = client.get("/static/counter.css", buffered=True)
    assert joined.text == both.text + own.text
    assert joined.mimetype == "text/css"
    again = client.get("/static/counter-page.css", headers={"If-None-Match": joined.headers["ETag"]})
    assert again.status_code == 304


@pytest.mark.parametrize("name", ["counter-page.css", "pages.css", "counter.js"])
def test_texts_among_the_static_files_go_packed(name: str, client: FlaskClient) -> None:
    plain = client.get(f"/static/{name}", buffered=True)
    packed = client.get(f"/static/{name}", headers={"Accept-Encoding": "gzip"}, buffered=True)
    assert packed.headers["Content-Encoding"] == "gzip"
    assert gzip.decompress(packed.data) == plain.data
    assert packed.headers["ETag"] != plain.headers["ETag"]
    tag = {"Accept-Encoding": "gzip", "If-None-Match": packed.headers["ETag"]}
    assert client.get(f"/static/{name}", headers=tag, buffered=True).status_code == 304


def test_static_files_name_no_other_host(client: FlaskClient) -> None:
    for name in ("pages.css", "docs.js", "counter.css", "counter.js"):
        page = client.get(f"/static/{name}", buffered=True)
        assert page.status_code == 200
        assert not re.search("https?://|//cdn", page.text)


@pytest.mark.parametrize("path", PAGES)
def test_links_on_pages_lead_somewhere(client: FlaskClient, path: str) -> None:
    page = client.get(path).text
    ids = set(re.findall(r'\bid="([^"]+)"', page))
    addresses = set(re.findall(r'<a[^>]+href="([^"]+)"', page))
    assert addresses
    for address in addresses:
        if address.startswith("#"):
            assert address[1:] in ids
        else:
            assert client.get(address, buffered=True, follow_redirects=True).status_code == 200


def test_the_api_page_shows_every_endpoint_with_an_answer(client: FlaskClient) -> None:
    page = html.unescape(client.get("/docs").text)
    sections = dict(re.findall(r'<section class="operation" id="(\w+)">(.*?)</section>', page, re.DOTALL))
    assert list(sections) == ["readIndex", *(endpoint.operation_id for endpoint in ENDPOINTS)]
    for endpoint in ENDPOINTS:
        section = sections[endpoint.operation_id]
        assert f"<code>{endpoint.path}</code>" in section
        assert "<h3>Answered</h3>" in section
        for example in endpoint.examples:
            assert example.title in section
        for parameter in endpoint.parameters:
            assert f'name="{parameter}"' in section


def test_the_start_page_tells_state_and_book(client: FlaskClient) -> None:
    page = client.get("/").text
    assert "Ready" in page
    assert "Revision 1" in page
    assert client.get("/readyz").json["checks"]["book"]["digest"] in page
