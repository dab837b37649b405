"""From named marks to cameras, lenses, strips and readings, with full covariance.

In: `Points` or `CameraObservations`, the `Job` and its `Layout`.
Out: `PlanFit`, `Adjustment`, `NoFit`.

- `plan_fit`: one camera alone to the layout as planned: our stand-in for a display
- `search`: all cameras in one network, and what is set free; start reading here
- `state`, `network`, `statements`, `readings`, `world`: every network's unknowns and rows
- `building`: the network of a job; `elimination`, `solving`: its solution
- `screening`, `group_tests`, `faults`, `further`: outliers; what is at fault or could be
- `solution`, `adjusted`: what is answered; `settings`: what tunes it
"""
