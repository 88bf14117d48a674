"""
Where would one more survey shift sharpen the decision most, and which lakes should be surveyed?

What a shift would tell of gaps, waters and traffic at each landing, what knowing the status of a
lake would tell of the value of hours, and what knowing either is worth for where hours go.
"""

from spreadnet.decisions.surveys.lakes import lakes_to_survey
from spreadnet.decisions.surveys.next import SurveyList, survey_next

__all__ = [
    "SurveyList",
    "lakes_to_survey",
    "survey_next",
]
