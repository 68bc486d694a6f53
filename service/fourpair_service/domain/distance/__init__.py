"""Where along a link something reflects or couples, from complex sweeps.

| to | call | in |
| --- | --- | --- |
| know the line: its loss and delay per metre | `path_of_link`, `path_of_link_at_nvp` | `line` |
| the same for NEXT (mean of the two pairs) | `mean_path` | `line` |
| the same for a pair that lets nothing through | `path_of_broken_pair`, `nominal_path` | `line` |
| list what reflects or couples, with its kind | `find_events` | `events` |
| find where a pair is open or shorted | `open_or_short` | `events` |
| make one list of what both ends saw | `merge_ends` | `events` |
| tell a place from the nearer end, with one uncertainty | `stated`, `uncertainty_m` | `events` |
| tell one place from the whole cable | `concentration` | `coupling` |
| find a stretch of split pairs | `strong_stretch`, `coupling_reaches` | `coupling` |
| see the impedance along a line | `impedance_profile`, `impedance_from_both_ends` | `impedance` |
| find ties, coils and other repeats | `find_periodic`, `find_spikes` | `periodic` |
| judge the ripple of the insertion loss | `insertion_loss_deviation` | `deviation` |
| estimate a link without a connector | `without`, `only` | `gating` |
| compute D(x) itself | `reflections`, `reflection_at`, `path_resolution_m` | `transform` |

Positions are in metres from the end that was measured from. `uncertainty_m` is
half the width that two events need to be told apart, plus the tolerance of the
velocity over the distance. FEXT is not here: all its couplings arrive with the
delay of the whole link, so it cannot be located.

`find_spikes` and `insertion_loss_deviation` need magnitudes alone. All else
raises `InvalidMeasurementError` without complex values: a distance that was not
measured is not made up.
"""
