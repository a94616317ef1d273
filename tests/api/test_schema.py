"""The published description of the API is whole."""

import pytest
from django.core.management import call_command
from openapi_spec_validator import validate

from tests.factories import make_agency
from tests.web.acting import act_as


def test_the_description_is_valid_and_raises_no_warning(tmp_path):
    # A warning is an error here: something of the API would go undescribed.
    call_command("spectacular", validate=True, fail_on_warn=True, file=str(tmp_path / "a.yml"))


@pytest.mark.django_db
def test_the_description_is_valid_openapi_and_names_every_collection(client):
    act_as(client, make_agency())
    schema = client.get("/api/v1/schema/", headers={"accept": "application/json"}).json()
    validate(schema)
    for path in ("signs", "standings", "inspections", "orders", "policy", "collections"):
        assert any(f"/api/v1/{path}" in known for known in schema["paths"]), path
    assert "post" in schema["paths"]["/api/v1/inspections/"]
