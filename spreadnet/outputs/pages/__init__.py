"""
The pages of plan and hindcast, each one file that needs no network.

Templates fill in text that is escaped on the way; a content security policy forbids everything
else.
"""

from spreadnet.outputs.pages.hindcast import hindcast_page
from spreadnet.outputs.pages.plan import plan_page
from spreadnet.outputs.pages.render import Table, fragment

__all__ = [
    "Table",
    "fragment",
    "hindcast_page",
    "plan_page",
]
