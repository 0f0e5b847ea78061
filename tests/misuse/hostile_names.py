"""Names that would do harm where they are pasted unguarded, and a tank in which every name is one."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path

NAMES: Mapping[str, str] = {
    "folder above": "../../x",
    "folder of the system": "/etc/x",
    "drive": "C:\\x",
    "share": "\\\\host\\x",
    "device": "con",
    "device with suffix": "NUL.csv",
    "dots": "..",
    "option": "--json",
    "home": "~/x",
    "colon": "a:b",
    "script": "</script><script>alert(1)</script>",
    "image": "<img src=x onerror=alert(1)>",
    "end of title": "</title></svg><svg onload=alert(1)>",
    "attribute": "\" onmouseover=alert(1) x='",
    "entity": "&lt;&#x41;&amp;",
    "comment": "--><!-- x ]]>",
    "template": "{{7*7}}{% x %}",
    "formula": "=1+1",
    "formula of a link": '=HYPERLINK("x";"y")',
    "at": "@SUM(A1)",
    "plus": "+1+1",
    "minus": "-1+1",
    "markup": "[red]x[/red] [/] [link=x]y[/link]",
    "mathematics": "$\\frac{1}{2$ 5$",
    "percent": "%s%n%(x)s{0}",
    "quotes": "a\"b'c`d",
    "separators": "a,b;c|d",
    "long": "x" * 200,
    "fish": "\U0001f41f fish",
    "joined": "e\u0301\u0301 \u0915\u094d\u200d\u0937",
}
"""Odd, yet printable: they are accepted, or refused with one message."""

STEERING_NAMES: Mapping[str, str] = {
    "NUL": "a\x00b",
    "new line": "a\nb",
    "return": "a\rover",
    "tab": "\t=1+1",
    "colour": "\x1b[31mred",
    "window title": "\x1b]0;owned\x07",
    "C1 sequence": "\x9b31m",
    "bell and back": "a\x07\x08\x7fb",
    "right to left": "a\u202egpj.exe",
    "isolate": "\u2066a\u2069",
    "line separator": "a\u2028b\u2029c",
    "byte order mark": "\ufeffa",
}
"""Names that no line of text can hold; they are refused, or shown as escapes."""

LAMP = """\
format = "lightdose-fixture/1"
name = {lamp}
emitters = {{ count = 24, diameter = "8 mm" }}
[[channel]]
name = {channel}
spectrum = {{ peak_nm = 450, fwhm_nm = 18 }}
photon_flux_umol_s = 40
electrical_w = 30
[[channel]]
name = "plain"
spectrum = {{ peak_nm = 600, fwhm_nm = 90 }}
photon_flux_umol_s = 10
electrical_w = 10
"""

SETUP = """\
format = "lightdose-setup/1"
title = {title}
groups = "groups.toml"
[tank]
length = "60 cm"
width = "40 cm"
water_depth = "35 cm"
floor_reflectance = 0.0
walls = {{ front = "dark", back = "dark", left = "dark", right = "dark" }}
[[fixture]]
name = {fixture}
type = "lamp.toml"
at = {{ x = "20 cm", y = "20 cm", height = "20 cm" }}
schedule = {{ {channel} = [["08:00", 0], ["18:00", 90]], "plain" = [["08:00", 50], ["18:00", 0]] }}
[[fixture]]
name = "other"
type = "lamp.toml"
at = {{ x = "40 cm", y = "20 cm", height = "20 cm" }}
schedule = {{ {channel} = [["00:00", 0], ["24:00", 0]], "plain" = [["08:00", 0], ["18:00", 90]] }}
[[site]]
name = {site}
at = {{ x = "25 cm", y = "20 cm", depth = "10 cm" }}
[[site]]
name = "free"
at = {{ x = "35 cm", y = "20 cm", depth = "12 cm" }}
[[coral]]
name = {coral}
group = "own"
site = {site}
previous = 3
[electricity]
price_per_kwh = 0.30
currency = "EUR"
[meter.{meter}]
reads = "umol"
immersion = 1.2
"""

GROUPS = """\
format = "lightdose-coral-groups/1"
[group.own]
name = {group}
like = "lps-branching"
genera = [{genus}]
source = {source}
grade = "C"
"""

ROLES = ("title", "lamp", "channel", "fixture", "site", "coral", "meter", "group", "genus", "source")


def write_named_tank(folder: Path, names: Mapping[str, str]) -> Path:
    """A tank whose ``ROLES`` are named as given, the others plainly; returns its folder."""
    folder.mkdir(parents=True)
    words = {role: json.dumps(names.get(role, f"plain {role}"), ensure_ascii=True) for role in ROLES}
    words = {role: word.replace("\\ud83d\\udc1f", "\U0001f41f") for role, word in words.items()}
    for file, text in (("lamp.toml", LAMP), ("setup.toml", SETUP), ("groups.toml", GROUPS)):
        (folder / file).write_text(text.format(**words), encoding="utf-8")
    return folder
