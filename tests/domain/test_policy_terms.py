"""A policy written as tables reads as the same policy."""

from __future__ import annotations

import tomllib
from datetime import date
from decimal import Decimal

from server.domain.policy import Policy, ShopTerms, policy_from
from server.domain.policy_book import flat
from server.domain.policy_terms import terms_from
from server.usecases.opening import SEED
from tests.domain.random_shelves import ODD_FIT, ODD_TIERS


def test_the_tables_of_a_policy_read_as_that_policy() -> None:
    rates = ShopTerms(vat_from=((date(2027, 1, 1), Decimal("21.5")), (date(2028, 1, 1), Decimal(23))))
    for policy in (Policy(), ODD_FIT, ODD_TIERS, Policy(shop=rates)):
        assert policy_from(terms_from(policy)) == policy


def test_every_key_of_the_seeds_policy_is_a_key_of_the_tables() -> None:
    seed = tomllib.loads((SEED / "policy.toml").read_text())
    assert {key for key in flat(seed) if "tiers[" not in key} <= set(flat(terms_from(Policy())))
