"""From named marks to cameras, lenses, strips and readings, with full covariance.

In: `Points` or `CameraObservations`, the `Job` and its `Layout`.
Out: `PlanFit`, `Adjustment`, `NoFit`.

- `plan_fit`: one camera alone to the layout as planned: our stand-in for a display
- `search`: all cameras in one network, and what is set free; start reading here
- `network`, `world`, `readings`, `state`: the unknowns and the rows of every observation
- `elimination`, `screening`: the normal matrix without marks' own deviations; outliers
- `group_tests`, `faults`, `further`: what is at fault, what could be, what to measure to decide
- `solution`, `adjusted`: what is answered
"""
