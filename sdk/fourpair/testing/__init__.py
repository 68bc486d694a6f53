"""The real service in the process of a test: no socket, a clock that stands still, ids in a row.

It needs ``pip install 'fourpair[service]'``. Time moves only where a client waits, so
that retries and rate limits are tried out in no time.

>>> from fourpair.testing import service
>>> with service() as running, running.client() as client:
...     job = client.jobs.create(name="Clinic")
...     job.id, job.changed_at
('id-00001', '2026-01-01T00:00:00.000000Z')

Bad days are tried out by a script of troubles, one for each request that is sent:

>>> with service(troubles=["unavailable", "lost_answer"]) as running, running.client() as client:
...     client.jobs.create("clinic", name="Clinic").id
...     running.requests_sent, len(list(client.changes.list()))
'clinic'
(3, 1)

Messages reach a receiver of the test, through a script of their own. ``carry_on`` has them sent:

>>> seen = []
>>> def receive(body, headers):
...     seen.append(headers["webhook-id"])
...     return 204
>>> with service(delivery_troubles=["late", "duplicated"]) as running, running.client() as client:
...     running.deliver_to("https://tickets.example.com/hook", receive)
...     made = client.subscriptions.create("https://tickets.example.com/hook")
...     for name in ("a", "b"):
...         job = client.jobs.create(name, name=name)
...     running.carry_on()
2
>>> seen
['id-00001-2', 'id-00001-2', 'id-00001-1']

A receiver that looks at the time of a message (``webhooks.verify`` does) needs a service
whose clock shows the present: ``service(start=datetime.now(UTC))``.
"""

from fourpair.testing._clock import START, Clock
from fourpair.testing._deliveries import Receive, receiver_of
from fourpair.testing._in_process import URL, InProcess
from fourpair.testing._running import RunningService, service
from fourpair.testing._troubles import DELIVERY_TROUBLES, TROUBLES, disordered, troubled

__all__ = [
    "DELIVERY_TROUBLES",
    "START",
    "TROUBLES",
    "URL",
    "Clock",
    "InProcess",
    "Receive",
    "RunningService",
    "disordered",
    "receiver_of",
    "service",
    "troubled",
]
