from .dial_planner import DialGoal as DialGoal
from .dial_planner import DialPlanner as DialPlanner
from .peak_goal import PeakGoal as PeakGoal
from .peak_goal import PeakPrior as PeakPrior
from .peak_planner import PeakPlanner as PeakPlanner
from .peak_planner import trace_of as trace_of
