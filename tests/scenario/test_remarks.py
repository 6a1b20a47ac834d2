"""Remarks on scenarios that are valid but absurd."""

import pytest

from simulator.scenario.loading import load_scenario


def remarks_of(*settings):
    (found,) = load_scenario("scenarios/third_pack.toml", settings=list(settings)).sets[:1]
    return [str(one) for one in found.notes]


@pytest.mark.parametrize(
    ("setting", "words"),
    [
        ("aircraft.large.swath=0.9 m", "less than 1 m"),
        ("aircraft.large.spray_speed=60 mph", "60 mph) is more than 40 mph"),
        ("aircraft.large.ferry_speed=90 mph", "more than 40 mph"),
        ("pack.large_pack.reserve=85 %", "less than 2 min"),
        ("weather.wind_speed=12 mph", "more than 10 mph"),
        ("product.rate=200 gal/acre", "200 gal/acre (1.87e+03 L/ha) is more than 30 gal/acre"),
        ("rig.main.power.trailer.chargers.fast=4", "the source gives"),
        ("aircraft.large.take_off_mass_max=80 kg", "it is never flown full"),
        ("aircraft.large.flow_max=2 L/min", "its pumps give 2 L/min"),
    ],
)
def test_an_absurd_number_is_remarked_on(setting, words):
    assert not any(words in one for one in remarks_of())
    assert any(words in one for one in remarks_of(setting))
