"""Unit costs of a plan for a consignment: its own, else those of the settings."""

from __future__ import annotations

from brinemark.steps.plan_fish import costs_of
from brinemark.terms.fish_plans import FishCosts
from brinemark.terms.settings import CostsSection


def test_costs_that_a_wish_does_not_name_are_those_of_the_settings() -> None:
    settings = CostsSection(electrode=3.0, hour=20.0, reading_h=0.25, reference_analysis=90.0, fish=2.0, courier=35.0)
    assert costs_of(settings, FishCosts()) == FishCosts(8.0, 90.0, 2.0, 35.0)
    assert costs_of(settings, FishCosts(test=1.0, fish=7.0)) == FishCosts(1.0, 90.0, 7.0, 35.0)
    assert costs_of(CostsSection(), FishCosts(test=1.0)) == FishCosts(test=1.0)
