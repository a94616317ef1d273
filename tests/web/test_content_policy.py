"""No page may ask anybody else."""

import pytest
from django.urls import reverse

from inventory.web.content_policy import HEADER, content_policy


@pytest.mark.django_db
def test_every_page_tells_the_browser_to_ask_this_site_only(client):
    # W3C, Content Security Policy Level 3.
    policy = client.get(reverse("sign-in"))[HEADER]
    assert "default-src 'self'" in policy
    assert "http" not in policy


def test_a_tile_address_opens_its_own_host_and_no_other():
    policy = content_policy("https://{s}.tiles.example/{z}/{x}/{y}.png")
    assert "img-src 'self' data: blob: https://*.tiles.example;" in policy
    assert policy.count("https://") == 1
