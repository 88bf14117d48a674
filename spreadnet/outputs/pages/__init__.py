"""
The pages of plan, hindcast and surveys, each one file that needs no network.

Templates fill in text that is escaped on the way; a content security policy forbids everything
else.
"""

from spreadnet.outputs.pages.hindcast import hindcast_page
from spreadnet.outputs.pages.plan import plan_page
from spreadnet.outputs.pages.survey import survey_page

__all__ = [
    "hindcast_page",
    "plan_page",
    "survey_page",
]
