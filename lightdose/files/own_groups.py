"""A groups file made of a tank's own records, for `groups =` in its setup."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence

from lightdose.files.groups_file import OWN, OWN_FORMAT, default_groups
from lightdose.model.diary import GroupRange, OwnRange
from lightdose.model.setup import CoralGroup

_HEAD = """\
# Ranges of daily dose that the corals of this tank lived in while their colour stayed or rose for at least 60
# days, from kept states and notes. It is no trial: what happened to stay stable is not what is best.
#
# groups = "{name}" in setup.toml judges by them; or put a coral's own line into its [[coral]]:
#
"""


def rounded_band(low: float, high: float) -> tuple[float, float] | None:
    """A range to three figures, outwards; None where it has no width to speak of."""
    step = 10.0 ** (math.floor(math.log10(high)) - 2) if high > 1e-300 else 1.0
    ends = math.floor(low / step + 1e-9) * step, math.ceil(high / step - 1e-9) * step
    band = float(f"{ends[0]:.6g}"), float(f"{ends[1]:.6g}")
    return band if band[1] > 1.01 * band[0] else None


def own_groups_text(
    ranges: Sequence[OwnRange],
    together: Sequence[GroupRange],
    groups: Mapping[str, CoralGroup],
    name: str,
) -> str:
    """The text of the file: a table a group, and each coral's own band in its head.

    Parameters
    ----------
    ranges, together : by coral and by group
    groups : those of the setup, the keeper's own included
    name : of the file that it will be
    """
    shipped, _ = default_groups()
    lines = [_HEAD.format(name=name).rstrip("\n")]
    for one in ranges:
        band = rounded_band(one.low, one.high)
        words = f"dli_band = [{band[0]:g}, {band[1]:g}]" if band else f"one dose alone, {one.low:.3g}"
        lines.append(f"#   {json.dumps(one.coral, ensure_ascii=False)}: {words}  ({one.notes} scores)")
    lines += ["", f'format = "{OWN_FORMAT}"']
    for group in together:
        said = f"{group.corals} coral{'' if group.corals == 1 else 's'}"
        band = rounded_band(group.low, group.high)
        if band is None:
            lines += [
                "",
                f"# {group.group}: {group.corals} corals, one dose alone, {group.low:.3g}: no range",
            ]
            continue
        lines += ["", f"# {said}, {group.notes} scores", f"[group.{_key(group.group)}]"]
        lines += _table(group, band, groups[group.group], known=group.group in shipped)
    return "\n".join(lines) + "\n"


def _table(group: GroupRange, band: tuple[float, float], base: CoralGroup, *, known: bool) -> list[str]:
    lines = [f"dli_band = [{band[0]:g}, {band[1]:g}]"]
    if base.floor_dli is not None and (base.floor_dli > band[0] or not known):
        lines.append(f"dli_floor = {min(base.floor_dli, band[0]):g}")
    if base.ceiling_dli is not None and (base.ceiling_dli < band[1] or not known):
        lines.append(f"dli_ceiling = {max(base.ceiling_dli, band[1]):g}")
    if not known:
        lines.append(f"name = {json.dumps(base.name, ensure_ascii=False)}")
        lines += [f"genera = {json.dumps(list(base.genera), ensure_ascii=False)}"] if base.genera else []
        for key, pair in (("peak_band", base.band_peak), ("ek_range", base.ek_range)):
            lines += [f"{key} = [{pair[0]:g}, {pair[1]:g}]"] if pair else []
    return [*lines, f"source = {json.dumps(group.source)}", f'grade = "{OWN}"']


def _key(group: str) -> str:
    plain = all(letter.isascii() and (letter.isalnum() or letter in "-_") for letter in group)
    return group if plain and group else json.dumps(group, ensure_ascii=False)
