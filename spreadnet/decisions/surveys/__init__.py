"""
Where would one more survey shift sharpen the decision most?

What a shift would tell of gaps, waters and traffic at each landing, and what knowing it would be
worth for where hours go.
"""

from spreadnet.decisions.surveys.next import SurveyList, survey_next

__all__ = [
    "SurveyList",
    "survey_next",
]
