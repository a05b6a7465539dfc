"""Pages and commands must send their wake-ups where the worker listens."""

import celery
from django.conf import settings


def test_wake_ups_go_to_the_sites_broker() -> None:
    assert celery.current_app.main == "washboard"
    assert celery.current_app.conf.broker_url == settings.REDIS_URL
