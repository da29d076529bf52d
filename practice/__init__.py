"""The practice: clinics, people, patients, calendar, policy, audit and access.

Bottom layer: it knows nothing of lots or cases. ``practice.urls`` alone looks upward.
"""
