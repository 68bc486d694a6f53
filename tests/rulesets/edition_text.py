"""A whole edition file with invented values, for tests to change.

The values are made up: nothing in it comes from a standard.
"""

from __future__ import annotations

from fourpair_service.rulesets.reader import read_rule_set

WHOLE = """\
# from_mhz, value, cap, category, source: words of a comment are no entries
id = "shop-2026"
standard = "SHOP"
title = "Shop limits"
notes = [
  "invented",
]

[rules]
return_loss_below_loss_db = { value = 3.0, source = "invented", basis = "memory" }
next_below_loss_db = { source = "invented", basis = "memory" }
acr_f_above_fext_db = { value = 70.0, source = "invented", basis = "memory" }
ps_acr_f_above_ps_fext_db = { value = 67.0, source = "invented", basis = "memory" }
acr_f_loss_of = { pair = "disturbed", source = "invented", basis = "memory" }
delay_at_mhz = { value = 10.0, source = "invented", basis = "memory" }
coverage_source = "invented"
coverage = [
  { up_to_mhz = 31.25, step_mhz = 0.15 },
  { up_to_mhz = 300, step_mhz = 1 },
]

[rules_of."S2".short_link_relief]
from_mhz = 150
slope_db = 1.4
per_mhz = 50
loss_at_mhz = 151
loss_below_db = 12
source = "invented"
basis = "memory"

[[category]]
name = "S1"
title = "category S1"
from_mhz = 1
to_mhz = 100
required = ["wire_map", "insertion_loss", "next"]
judged_if_present = ["length"]
information = ["acr_n"]
statuses_source = "invented"

[[category]]
name = "S2"
title = "category S2"
from_mhz = 1.5
to_mhz = 200
required = ["next"]
statuses_source = '''
invented
value = "a line of a long text is no entry"
'''

[[category]]
name = "S3"
title = "category S3"
from_mhz = 1
to_mhz = 2000
missing = "No limits for S3 are built in. Load your own edition file."
statuses_source = "none"

[[reading_limit]]
parameter = "length"
categories = ["S1"]
configurations = ["channel"]
value = 100
allowance_percent = 10
source = "invented"
basis = "published"

[[reading_limit]]
parameter = "resistance_unbalance_within_pair"
categories = ["S1", "S2"]
configurations = ["channel"]
value = 0.25
percent = 3
source = "invented"
basis = "memory"
clause = "7.1"
note = "invented too"

[[limit]]
parameter = "insertion_loss"
category = "S1"
configurations = ["channel"]
  [[limit.segment]]
  from_mhz = 1
  to_mhz = 101
  form = "cable_and_connectors"
  coefficients = { sqrt = 2.0, linear = 0.02 }
  cap = 4.5
  cap_rule = "floor"
  source = "invented"
  basis = "memory"
  check_points = [
    { frequency_mhz = 64, value = 17.28, source = "2 x 8 + 0.02 x 64, worked by hand" },
    { frequency_mhz = 16, value = 8.32, source = "2 x 4 + 0.02 x 16, worked by hand" },
  ]

[[limit]]
parameter = "next"
category = "S1"
configurations = ["channel"]
  [[limit.segment]]
  from_mhz = 1
  to_mhz = 10
  form = "constant"
  coefficients = { value = 60 }
  source = "invented"
  basis = "memory"
  [[limit.segment]]
  from_mhz = 10
  to_mhz = 102
  form = "log_slope"
  coefficients = { at_reference = 60, per_decade = -15, reference_mhz = 10.5 }
  source = "invented"
  basis = "cross_checked"
  confirmed_by = "J. Example (invented)"
  confirmed_on = 2026-11-20

[[limit]]
parameter = "acr_n"
category = "S1"
configurations = ["channel"]
  [[limit.segment]]
  from_mhz = 1
  to_mhz = 103
  form = "difference"
  coefficients = { minuend = "next", subtrahend = "insertion_loss" }
  source = "invented"
  basis = "memory"

[[limit]]
parameter = "next"
category = "S2"
configurations = ["permanent_link", "mptl"]
  [[limit.segment]]
  from_mhz = 1
  to_mhz = 200
  form = "voltage_sum"
  coefficients.terms = [
    { at_reference = 43, per_decade = -15, reference_mhz = 0.772 },
    { at_reference = 34, per_decade = -20, reference_mhz = 16.5, count = 2 },
  ]
  source = "invented"
  basis = "memory"

[[reference]]
parameter = "next_cable"
category = "any"
configurations = ["component"]
  [[reference.segment]]
  from_mhz = 0.772
  to_mhz = 104
  form = "power"
  coefficients = { factor = 3, exponent = 0.5 }
  source = "invented"
  basis = "published"
"""


def read(text=WHOLE, known=()):
    """Return the rule set of a text; ``known`` are rule sets that it may extend."""
    return read_rule_set("shop.toml", text.encode(), {rule_set.id: rule_set for rule_set in known})


def changed(old, new, text=WHOLE):
    """Return the text with the one place changed that reads ``old``."""
    assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times"
    return text.replace(old, new)
