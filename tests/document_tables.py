"""The tables that the documents take from the code, by the name that stands in their comments."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from importlib import import_module

import click

import lightdose
from lightdose.cli import SECTIONS, cli
from lightdose.cli.map import CELLS_AT_MOST, POINTS_AT_MOST
from lightdose.files import (
    delimited,
    fixture_file,
    photometric,
    places_csv,
    reading_rules,
    readings_csv,
    schedule_csv,
    setup_schema,
    spectral_rows,
    spectrum_file,
    toml_guard,
)
from lightdose.files.coral_names import CoralNames
from lightdose.files.groups_file import default_groups, own_group_table
from lightdose.files.library import emitter_names
from lightdose.files.toml_tables import REQUIRED, Key, Table
from lightdose.files.units import format_length
from lightdose.fit.placement import MOST_PAIRS, MOST_PLACES
from lightdose.judge.acclimation import MOST_STEPS
from lightdose.judge.hazard import BEHAVIOUR
from lightdose.judge.uncertain_inputs import ASSUMED_BEAM_FRACTION, DEFAULTS, SHEET_HIGH, SHEET_LOW
from lightdose.model import forms
from lightdose.physics import ray_limits
from lightdose.quantities import BANDS, QUANTITIES
from lightdose.workflows.advice import MOST_JUDGED
from lightdose.workflows.measuring import MOST_FIXTURES
from lightdose.workflows.placing import MOST_CORALS, MOST_PLACED

Maker = Callable[[], str]


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table in markdown; a stroke in a cell is no fence."""
    fenced = [[cell.replace("|", "\\|") for cell in row] for row in rows]
    lines = [list(head), ["---"] * len(head), *fenced]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


# ---- keys ---------------------------------------------------------------------------------------------


def keys_table(keys: Mapping[str, Key]) -> str:
    """Keys of a file with their meaning, an example, their default and what is allowed."""
    rows = [
        (f"`{name}`", key.meaning, code(key.example), _default(key), _allowed(key))
        for name, key in keys.items()
    ]
    return table(("key", "meaning", "example", "default", "allowed"), rows)


def code(example: str) -> str:
    """A value as it is typed, nothing where there is none to show."""
    return "-" if example in ("...", "[...]") else f"`{example}`"


def _default(key: Key) -> str:
    """A default as it would be typed in the file."""
    if key.default is REQUIRED:
        return "required"
    if key.default is None:
        return "-"
    if key.kind.allowed.startswith("a length"):
        return f'`"{format_length(key.default, "cm")}"`'
    if isinstance(key.default, bool):
        return f"`{str(key.default).lower()}`"
    value = getattr(key.default, "kind", key.default)
    return f'`"{value}"`' if isinstance(value, str) else f"`{value}`"


def _allowed(key: Key) -> str:
    """What is allowed, without what the page says of every length."""
    allowed = re.sub(r'a length with its unit, such as "[^"]*" or "[^"]*"', "a length", key.kind.allowed)
    return allowed.replace(" | ", " or ")


def within(tables: Mapping[str, Table], name: str) -> dict[str, Key]:
    """The keys of a table and of the tables inside it: ``x`` of ``site.at`` is ``at.x`` of ``site``.

    Forms of a value, as ``channel.spectrum (file)``, are inside it too.
    """
    found: dict[str, Key] = {}
    for key, value in tables[name].keys.items():
        found[key] = value
        for inside, held in tables.items():
            if inside.partition(" ")[0] == f"{name}.{key}":
                found |= {f"{key}.{inner}": inner_value for inner, inner_value in held.keys.items()}
    return found


SETUP_TABLES: Mapping[str, Table] = setup_schema.TABLES
FIXTURE_TABLES: Mapping[str, Table] = fixture_file.TABLES


def _key_makers(tables: Mapping[str, Table]) -> dict[str, Maker]:
    names = [name for name in tables if "." not in name]
    return {f"keys of {name}": lambda name=name: keys_table(within(tables, name)) for name in names}


# ---- what is known --------------------------------------------------------------------------------------


def quantities_table() -> str:
    """The quantities that lightdose reports."""
    rows = [(q.symbol, q.unit, q.definition, q.source) for q in QUANTITIES]
    return table(("quantity", "unit", "what it is", "source"), rows)


def bands_table() -> str:
    """The colour bands with their edges."""
    rows = [(b.name, f"{b.low_nm:g}-{b.high_nm:g} nm", b.source) for b in BANDS]
    return table(("band", "from-to", "source"), rows)


def groups_table() -> str:
    """The shipped coral groups with the marks that a dose is held against."""

    def pair(ends: tuple[float, float] | None) -> str:
        return "-" if ends is None else f"{ends[0]:g}-{ends[1]:g}"

    def mark(value: float | None) -> str:
        return "-" if value is None else f"{value:g}"

    dose = ("usual dose", "far below under", "far above over")
    head = ("group", "name", *dose, "usual peak", "Ek", "grade", "genera")
    rows = [
        (
            f"`{group.key}`",
            group.name,
            pair(group.band_dli),
            mark(group.floor_dli),
            mark(group.ceiling_dli),
            pair(group.band_peak),
            pair(group.ek_range),
            group.grade,
            ", ".join(group.genera) or "-",
        )
        for group in default_groups()[0].values()
    ]
    return table(head, rows)


def names_table() -> str:
    """What tells the shipped groups apart, and the names other than genera that mean them."""
    listed = CoralNames(default_groups()[0]).listed().values()
    rows = [(f"`{group.key}`", group.look, ", ".join(group.names) or "-") for group in listed]
    return table(("group", "looks", "older names of genera, and trade names"), rows)


def group_evidence_table() -> str:
    """What is published of each shipped group, with its grade."""
    rows = [
        (f"`{group.key}`", group.grade, "; ".join(filter(None, (group.note, group.floor_harm))))
        for group in default_groups()[0].values()
    ]
    return table(("group", "grade", "evidence"), rows)


def group_sources_list() -> str:
    """The citations of the shipped groups by their keys."""
    return "\n".join(f"- {key}: {citation}" for key, citation in default_groups()[1].items())


def uncertainty_table() -> str:
    """The standard uncertainties that hold where nothing else is stated."""
    sheet = f"{SHEET_LOW:g} to {SHEET_HIGH:g} of a data sheet, skewed low; typical values: a factor of 2"
    said = {key: f"{value:g}" for key, value in DEFAULTS.items()} | {
        "flux_common_fraction": sheet,
        "beam_fraction": f"{DEFAULTS['beam_fraction']:g}; {ASSUMED_BEAM_FRACTION:g} where it is assumed",
        "open_sky": f"{DEFAULTS['open_sky']:g}, where it is below 1",
        "yellowing_per_m": f"{DEFAULTS['yellowing_per_m']:g}, to more only",
    }
    rows = [(f"`{key}`", of_what, said[key]) for key, (_, of_what) in forms.UNCERTAINTY_KEYS.items()]
    return table(("key", "of what", "default (our choice)"), rows)


def library_table() -> str:
    """The entries of the spectrum library."""
    return ", ".join(f"`{name}`" for name in emitter_names()) + "."


def sky_table() -> str:
    """The words for open sky."""
    return table(
        ("open_sky", "share", "in traced tanks"),
        [
            (f'`"{w}"`', f"{v:g}", "{:g}-{:g}".format(*setup_schema.OPEN_SKY_RANGES.get(w, (v, v))))
            for w, v in setup_schema.OPEN_SKY_WORDS.items()
        ],
    )


def headers_table() -> str:
    """The headers by which a spectrum says what its values are."""
    rows = [(f"`{name}`", what, unit or "relative") for name, (what, unit) in spectrum_file.HEADERS.items()]
    return table(("header", "values are", "unit"), rows)


def behaviour_list() -> str:
    """How to behave around strong light over salt water."""
    return "\n".join(f"- {caution.text}" for caution in BEHAVIOUR)


# ---- limits ---------------------------------------------------------------------------------------------


def count(number: float, what: str = "") -> str:
    """A number with its thousands parted, and of what."""
    return f"{number:,.0f} {what}".rstrip()


def size(limit_bytes: int, most: int = 0, what: str = "") -> str:
    """A size of a file, and how many of what it may hold."""
    megabytes = f"{limit_bytes / 1e6:g} MB"
    return f"{megabytes}, {count(most, what)}" if most else megabytes


def limits_table() -> str:
    """The sizes up to which files are read and plans are made."""
    faintest, brightest = reading_rules.FAINTEST, reading_rules.PLAUSIBLE
    rays = (
        *(ray_limits.RAYS_A_PLACE_AT_MOST, ray_limits.FLOOR_RAYS_AT_MOST, ray_limits.SKIN_RAYS_AT_MOST),
        *(ray_limits.RAYS_AT_MOST, ray_limits.RANGE_RAYS_AT_MOST, ray_limits.MAP_RAYS_AT_MOST),
    )
    rows = [
        ("a TOML file", size(toml_guard.LIMIT_BYTES)),
        ("parts of a TOML key, as in a.b.c", count(toml_guard.MOST_KEY_PARTS)),
        ("sites of a setup, racks included", count(setup_schema.MOST_SITES)),
        ("fixtures of a setup", count(setup_schema.MOST_CHANNELS)),
        ("channels of all fixtures together", count(setup_schema.MOST_CHANNELS)),
        ("points of a dimming curve or a beam table", count(fixture_file.MOST_POINTS)),
        (
            "`sites.csv`, `corals.csv`, `rocks.csv`",
            size(places_csv.LIMIT_BYTES, setup_schema.MOST_SITES, "rows each"),
        ),
        ("rocks, and corals with a diameter, together", count(forms.MOST_SOLIDS)),
        ("a schedule", size(schedule_csv.LIMIT_BYTES, schedule_csv.LIMIT_ROWS, "rows")),
        ("`readings.csv`", size(readings_csv.LIMIT_BYTES, readings_csv.LIMIT_ROWS, "rows")),
        ("a reading in umol/m2/s", f"{faintest['umol']:g} to {count(brightest['umol'])}"),
        ("a reading in lux", f"{faintest['lux']:g} to {count(brightest['lux'])}"),
        ("a spectrum as CSV", size(spectrum_file.LIMIT_BYTES, spectrum_file.LIMIT_LINES, "lines")),
        ("a spectrum as IES TM-27", size(spectrum_file.LIMIT_BYTES)),
        ("a wavelength", count(spectral_rows.LONGEST_NM, "nm")),
        ("a beam file", size(photometric.LIMIT_BYTES, photometric.MOST_ANGLES, "angles")),
        ("a line of a CSV", count(delimited.LONGEST_LINE, "letters")),
        ("a title, a name or a note", count(toml_guard.LONGEST_TEXT, "letters")),
        ("`map`: cells of a slice; points of all slices", f"{count(CELLS_AT_MOST)}; {count(POINTS_AT_MOST)}"),
        ("`place`: places; corals times places", f"{count(MOST_PLACES)}; {count(MOST_PAIRS)}"),
        (
            "corals of one plan: `tune`; `place`; `survey`",
            f"{count(MOST_JUDGED)}; {count(MOST_PLACED)}; {count(MOST_CORALS)}",
        ),
        ("lit fixtures of one `survey`", count(MOST_FIXTURES)),
        ("`acclimate`: steps", count(MOST_STEPS)),
        (
            "rays of light to a place; for a floor; on rock and floor; for all places, for all that "
            "`sensitivity` tries, for a map; for the ranges of all places; for a map whose --cell is named",
            "; ".join(map(count, rays)),
        ),
    ]
    return table(("what", "at most, or range"), rows)


# ---- commands -------------------------------------------------------------------------------------------

COMMON_FROM = 4
"""An option that reads alike in so many commands is told once."""


def commands() -> dict[str, click.Command]:
    """Every command by its name, in the order of the help."""
    names = [name for section in SECTIONS.values() for name in section]
    return {name: import_module(f"lightdose.cli.{name}").command for name in names}


def context(command: click.Command) -> click.Context:
    """What a command is asked in; it keeps the words for help that it first meets, so they are ours."""
    return click.Context(command, **cli.context_settings)


def option_records(command: click.Command) -> list[tuple[str, str]]:
    """The options of a command as its help shows them: how to write it, and what it does."""
    ctx = context(command)
    records = [p.get_help_record(ctx) for p in command.params if isinstance(p, click.Option)]
    return [(written.replace("INTEGER RANGE", "N"), _told(words)) for written, words in filter(None, records)]


def _told(words: str) -> str:
    """What an option does, its extras in words: "[default: 7; 1<=x<=60]" becomes (default 7; 1 to 60)."""
    words = re.sub(r"\s*\[(default: .*|required|\S+<=?x<=?\S+)\]$", r" (\1)", words)
    words = re.sub(r"(\S+)<=x<=(\S+)", r"\1 to \2", words)
    words = re.sub(r"(\S+)<x<=(\S+)", r"above \1, to \2", words)
    return words.replace("(default: ", "(default ")


def shared_options() -> dict[tuple[str, str], None]:
    """The options that many commands have, in the order in which they turn up."""
    every = [record for command in commands().values() for record in option_records(command)]
    return {record: None for record in every if every.count(record) >= COMMON_FROM}


def options_table(records: Iterable[tuple[str, str]]) -> str:
    """Options with what they do."""
    return table(("option", "what it does"), [(f"`{written}`", told) for written, told in records])


def commands_text() -> str:
    """Every command: what it is for, its examples and its options."""
    shared = shared_options()
    parts = []
    for section, named in SECTIONS.items():
        parts.append(f"## {section}")
        for name in named:
            parts += [f"### {name}", *_command_parts(name, commands()[name], shared)]
    return "\n\n".join(parts)


def _command_parts(
    name: str, command: click.Command, shared: Mapping[tuple[str, str], None]
) -> Iterator[str]:
    ctx = context(command)
    yield from _help_parts(command.help or "")
    words = " ".join(piece for piece in command.collect_usage_pieces(ctx) if piece != "[OPTIONS]")
    yield f"Usage: `{f'lightdose {name} {words}'.rstrip()}`"
    records = option_records(command)
    if own := [record for record in records if record not in shared]:
        yield options_table(own)
    if also := [f"`{written}`" for written, told in records if (written, told) in shared]:
        yield f"Also: {', '.join(also)}."


def _help_parts(text: str) -> Iterator[str]:
    """A help text as markdown: paragraphs run on, what click leaves as it stands becomes code."""
    for part in re.split(r"\n\s*\n", text.strip()):
        lines = part.split("\n")
        if lines[0].strip() != "\b":
            yield " ".join(line.strip() for line in lines)
            continue
        lead, *rest = (line.strip() for line in lines[1:])
        if not lead.startswith("Example"):
            yield lead
        yield "\n".join(["```sh" if lead.startswith("Example") else "```text", *rest, "```"])


# ---- Python ---------------------------------------------------------------------------------------------


def python_table() -> str:
    """The names that a script may import, each with the first line of what it says of itself."""
    names = [name for name in sorted(lightdose.__all__) if name != "__version__"]
    rows = [
        (f"`lightdose.{name}`", (getattr(lightdose, name).__doc__ or "").strip().split("\n")[0])
        for name in names
    ]
    return table(("name", "what it is"), rows)


TABLES: Mapping[str, Maker] = {
    "keys of setup.toml": lambda: keys_table(setup_schema.SETUP.keys),
    **_key_makers(SETUP_TABLES),
    "keys of fixture.toml": lambda: keys_table(fixture_file.FIXTURE_FILE.keys),
    **_key_makers(FIXTURE_TABLES),
    "keys of my-groups.toml": lambda: keys_table(own_group_table().keys),
    "quantities": quantities_table,
    "bands": bands_table,
    "coral groups": groups_table,
    "coral names": names_table,
    "evidence of groups": group_evidence_table,
    "sources of groups": group_sources_list,
    "standard uncertainties": uncertainty_table,
    "spectrum library": library_table,
    "words for open sky": sky_table,
    "headers of spectra": headers_table,
    "behaviour": behaviour_list,
    "sizes": limits_table,
    "shared options": lambda: options_table(shared_options()),
    "commands": commands_text,
    "names in Python": python_table,
}
