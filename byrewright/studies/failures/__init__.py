"""What each failure does: does milking go on, who must act, what it costs, what stands in the way.

from byrewright.studies.failures.study import study_failures
result = study_failures(plant)
"""
