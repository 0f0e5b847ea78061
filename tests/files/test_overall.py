"""The overall setting at another percentage, from the files to the programme."""

from __future__ import annotations

from pathlib import Path

import pytest
from files.conftest import SETUP, WriteSetup

from lightdose.errors import SetupError
from lightdose.files.setup_file import Variations, read_setup
from lightdose.model.fixture import Programme

DIALLED = "time,blue,white,all_channels\n08:00,95,40,0\n09:00,95,40,46\n17:00,95,40,46\n18:00,95,,23\n"


def programme(path: Path, name: str = "left", **percents: float) -> Programme:
    asked = {"" if key == "every" else key: value for key, value in percents.items()}
    setup = read_setup(path, Variations(all_channels=asked))
    return next(f for f in setup.fixtures if f.name == name).programme


@pytest.mark.identity
def test_plateau_of_the_setting_takes_the_percentage_and_the_rest_follows(write_setup: WriteSetup) -> None:
    """A dial of 46 at 38: all levels as before, products by 38 / 46, the dip in proportion."""
    path = write_setup(schedule=DIALLED)
    before, after = programme(path), programme(path, every=38)
    assert after.dial is not None
    assert after.dial.overall.tolist() == pytest.approx([0, 0.38, 0.38, 0.19])
    assert after.channels["blue"].level.tolist() == pytest.approx([0, 0.361, 0.361, 0.1805])
    for name, channel in before.channels.items():
        assert after.channels[name].level == pytest.approx(channel.level * 38 / 46, abs=1e-13)
        assert after.channels[name].time_h.tolist() == channel.time_h.tolist()


@pytest.mark.identity
def test_schedule_without_the_setting_counts_as_one_at_100(write_setup: WriteSetup) -> None:
    """46 multiplies, 100 changes nothing, 150 multiplies where the driver can; the dial stops at 100."""
    path = write_setup()
    plain, half = programme(path), programme(path, every=46)
    assert half.channels["blue"].level.tolist() == pytest.approx([0, 0.276, 0.276, 0])
    assert half.dial is not None
    assert half.dial.highest("blue") == (0.6, 0.46)
    same = programme(path, every=100)
    more = programme(path, every=150)
    for name, channel in plain.channels.items():
        assert same.channels[name].level.tolist() == channel.level.tolist()
        assert same.channels[name].time_h.tolist() == channel.time_h.tolist()
        assert more.channels[name].level == pytest.approx(1.5 * channel.level)
    assert more.dial is None


@pytest.mark.identity
def test_one_fixture_may_be_set_by_its_name(write_setup: WriteSetup) -> None:
    """A name goes before the percentage for all."""
    second = SETUP[SETUP.index("[[fixture]]") :].replace('"left"', '"right"')
    path = write_setup(second, schedule=DIALLED)
    asked = {"every": 50.0, "left": 23.0}
    for name, plateau in (("left", 0.23), ("right", 0.5)):
        dial = programme(path, name, **asked).dial
        assert dial is not None
        assert dial.plateau == plateau


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("schedule", "asked", "says"),
    [
        (None, {"": 170.0}, "'blue' of 'left' would run at 102 %\n    allowed: 0 to 166.6"),
        (DIALLED, {"": 101.0}, "the overall setting of 'left' ends at 100"),
        (
            DIALLED.replace("46", "0").replace("23", "0"),
            {"": 10.0},
            "the overall setting of 'left' is 0 all day",
        ),
        (
            None,
            {"lfet": 46.0},
            "no fixture is named 'lfet'\n    allowed: left\n    mend it: did you mean left?",
        ),
    ],
)
def test_what_cannot_be_set_ends_in_one_message(
    write_setup: WriteSetup, schedule: str | None, asked: dict[str, float], says: str
) -> None:
    """Fixture, channel and the highest figure that is possible."""
    path = write_setup(**({"schedule": schedule} if schedule else {}))
    with pytest.raises(SetupError) as caught:
        read_setup(path, Variations(all_channels=asked))
    assert says in str(caught.value)
    assert len(caught.value.problems) == 1
