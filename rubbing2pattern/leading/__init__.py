"""The lead to cut: strips with their ends, sticks to buy, weights."""

from rubbing2pattern.leading.plan import plan_lead
from rubbing2pattern.leading.strips import EndCut, LeadOrder, LeadPlan, Strip, StripEnd

__all__ = ["EndCut", "LeadOrder", "LeadPlan", "Strip", "StripEnd", "plan_lead"]
