"""
One run of the model, and many of them on draws of all that is uncertain.

`run_model` gives spread and slopes for one set of estimates, `run_draws` the same for many, in
order, on any number of processes, threads or machines.
"""

from spreadnet.decisions.draws.cluster import on_scheduler
from spreadnet.decisions.draws.parallel import in_order, one_thread
from spreadnet.decisions.draws.run import (
    Draws,
    Run,
    any_new,
    avoided_by,
    run_draws,
    run_model,
    setting_of,
    totals_of,
)

__all__ = [
    "Draws",
    "Run",
    "any_new",
    "avoided_by",
    "in_order",
    "on_scheduler",
    "one_thread",
    "run_draws",
    "run_model",
    "setting_of",
    "totals_of",
]
