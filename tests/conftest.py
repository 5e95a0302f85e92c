"""Settings of all tests. No test has a time limit: machines are shared and noisy."""

from hypothesis import HealthCheck, settings

settings.register_profile("loftbook", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("loftbook")
