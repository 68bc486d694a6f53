"""/v1/subscriptions: who is told of changes, and what became of each message."""

from __future__ import annotations

import re
import secrets
from collections.abc import Mapping
from datetime import timedelta
from typing import Any, Final

from flask import Response
from flask.views import MethodView

from fourpair_service.http.auth import caller
from fourpair_service.http.kit import StrictBlueprint
from fourpair_service.http.operation import (
    IDEMPOTENCY,
    JSON,
    MERGE_PATCH,
    answered,
    json_object,
    loaded,
    operate,
    raw_body,
)
from fourpair_service.http.paging import linked
from fourpair_service.http.revalidation import tagged_by_content
from fourpair_service.http.schemas.subscriptions import (
    DeliveriesQuery,
    DeliveryListSchema,
    DeliverySchema,
    NewSubscriptionSchema,
    ReplayedSchema,
    ReplaySchema,
    RotationSchema,
    SecretSchema,
    SubscriptionChangeSchema,
    SubscriptionListSchema,
    SubscriptionRequestSchema,
    SubscriptionSchema,
)
from fourpair_service.http.services import services
from fourpair_service.http.terms import terms
from fourpair_service.records.curves import Document
from fourpair_service.records.errors import InvalidQueryError
from fourpair_service.records.keys import Scope
from fourpair_service.records.subscriptions.commands import (
    change_subscription,
    deliveries,
    replay,
    rotate_secret,
    send_test,
    subscribe,
    unsubscribe,
    visible_subscription,
    visible_subscriptions,
)
from fourpair_service.records.subscriptions.delivering import delivery_document
from fourpair_service.records.subscriptions.model import DeliveryState, Interest, Subscription
from fourpair_service.webhooks.signing import SECRET_BYTES, secret_of
from fourpair_service.webhooks.targets import check_form

PLACE: Final = re.compile(r"[0-9]{16}(-test-[0-9A-Za-z]{1,64})?")
USUAL_HOURS: Final = 24

blueprint = StrictBlueprint(
    "subscriptions", __name__, url_prefix="/v1", description="Who is told of changes by signed messages"
)


def _told(subscription: Subscription) -> Document:
    interest = subscription.interest
    return {
        "id": subscription.id,
        "url": subscription.url,
        "description": subscription.description,
        "kinds": None if interest.kinds is None else list(interest.kinds),
        "job": interest.job,
        "outcomes": None if interest.outcomes is None else list(interest.outcomes),
        "outcome_changes": interest.outcome_changes,
        "state": subscription.state.value,
        "paused_because": subscription.paused_because,
        "failures": subscription.failures,
        "failing_since": subscription.failing_since,
        "next_at": subscription.next_at,
        "followed_to_seq": subscription.position,
        "last_told_seq": subscription.last_matched,
        "secrets": len(subscription.secrets),
        "created_at": subscription.created_at,
    }


def _words(asked: Document) -> Document:
    """Return what was asked with its lists as the words that are kept."""
    return {n: tuple(str(each) for each in v) if isinstance(v, list) else v for n, v in asked.items()}


def _new_secret() -> str:
    return secret_of(secrets.token_bytes(SECRET_BYTES))


def _found(subscription_id: str) -> Subscription:
    return visible_subscription(services().desk.store, caller(), subscription_id)


@blueprint.route("/subscriptions")
class Subscriptions(MethodView):
    """All subscriptions."""

    @operate(
        blueprint,
        "createSubscription",
        scope=Scope.ADMIN,
        body=SubscriptionRequestSchema,
        answer=NewSubscriptionSchema,
        status=201,
        headers=[IDEMPOTENCY],
        problems=(409,),
    )
    def post(self, query: Mapping[str, Any]) -> Response:
        """Tell a receiver of changes, by messages that are signed as Standard Webhooks has it.

        The secret is shown this once; a repetition of the request shows none.
        """
        raw = raw_body((JSON,))
        asked = _words(loaded(SubscriptionRequestSchema(), json_object(raw)))
        check_form(asked["url"], services().settings.webhook_networks)
        interest = Interest(**{n: v for n, v in asked.items() if n in Interest.__dataclass_fields__})
        secret = _new_secret()
        with terms(caller(), body=raw, dry_run=False) as own:
            made, is_known = subscribe(
                services().desk,
                caller(),
                asked["url"],
                interest,
                own,
                secret=secret,
                description=asked.get("description"),
                after=asked.get("after"),
            )
        headers = {"Location": f"/v1/subscriptions/{made.id}"}
        if is_known:
            headers["Idempotent-Replayed"] = "true"
        return answered({**_told(made), "secret": None if is_known else secret}, 201, headers)

    @operate(
        blueprint, "listSubscriptions", scope=Scope.ADMIN, answer=SubscriptionListSchema, problems=(304,)
    )
    def get(self, query: Mapping[str, Any]) -> Response:
        """List subscriptions and how they go."""
        found = visible_subscriptions(services().desk.store, caller())
        return tagged_by_content(answered({"subscriptions": [_told(each) for each in found]}))


@blueprint.route("/subscriptions/<subscription_id>")
class OneSubscription(MethodView):
    """One subscription."""

    @operate(blueprint, "getSubscription", scope=Scope.ADMIN, answer=SubscriptionSchema, problems=(304, 404))
    def get(self, query: Mapping[str, Any], subscription_id: str) -> Response:
        """Show a subscription and how it goes."""
        return tagged_by_content(answered(_told(_found(subscription_id))))

    @operate(
        blueprint,
        "changeSubscription",
        scope=Scope.ADMIN,
        body=SubscriptionChangeSchema,
        media=(MERGE_PATCH, JSON),
        answer=SubscriptionSchema,
        problems=(404,),
    )
    def patch(self, query: Mapping[str, Any], subscription_id: str) -> Response:
        """Change what is told, or whom; pause it, or let it go on."""
        asked = _words(loaded(SubscriptionChangeSchema(), json_object(raw_body((MERGE_PATCH, JSON)))))
        if "url" in asked:
            check_form(asked["url"], services().settings.webhook_networks)
        return answered(_told(change_subscription(services().desk, caller(), subscription_id, asked)))

    @operate(blueprint, "endSubscription", scope=Scope.ADMIN, answer=SubscriptionSchema, problems=(404,))
    def delete(self, query: Mapping[str, Any], subscription_id: str) -> Response:
        """End a subscription and forget its messages; the feed still has the changes."""
        return answered(_told(unsubscribe(services().desk, caller(), subscription_id)))


@blueprint.route("/subscriptions/<subscription_id>/test")
class TestMessage(MethodView):
    """A message that tells nothing."""

    @operate(
        blueprint, "testSubscription", scope=Scope.ADMIN, answer=DeliverySchema, status=202, problems=(404,)
    )
    def post(self, query: Mapping[str, Any], subscription_id: str) -> Response:
        """Send a message of type test; what came of it stands among the deliveries."""
        return answered(delivery_document(send_test(services().desk, caller(), subscription_id)), 202)


@blueprint.route("/subscriptions/<subscription_id>/secrets")
class Secrets(MethodView):
    """The secrets of a subscription."""

    @operate(
        blueprint,
        "rotateSubscriptionSecret",
        scope=Scope.ADMIN,
        body=RotationSchema,
        answer=SecretSchema,
        problems=(404,),
    )
    def post(self, query: Mapping[str, Any], subscription_id: str) -> Response:
        """Give a new secret; for a while messages carry a signature by the old one too."""
        asked = loaded(RotationSchema(), json_object(raw_body((JSON,))))
        secret, hours = _new_secret(), timedelta(hours=asked.get("hours", USUAL_HOURS))
        changed = rotate_secret(services().desk, caller(), subscription_id, secret=secret, old_holds=hours)
        return answered({"secret": secret, "old_holds_until": changed.secrets[1].expires_at})


@blueprint.route("/subscriptions/<subscription_id>/deliveries")
class Deliveries(MethodView):
    """The messages of a subscription."""

    @operate(
        blueprint,
        "listDeliveries",
        scope=Scope.ADMIN,
        query=DeliveriesQuery,
        answer=DeliveryListSchema,
        problems=(304, 404),
    )
    def get(self, query: Mapping[str, Any], subscription_id: str) -> Response:
        """List messages with every attempt to send them; kept for 30 days."""
        after, limit = query.get("cursor", ""), query["limit"]
        if after and not PLACE.fullmatch(after):
            raise InvalidQueryError("cursor", "this is no cursor of this list; start from the first page")
        state = DeliveryState(query["state"]) if "state" in query else None
        found = deliveries(
            services().desk.store, _found(subscription_id), after=after, limit=limit + 1, state=state
        )
        cursor = found[limit - 1].key if len(found) > limit else None
        told = [delivery_document(each) for each in found[:limit]]
        return tagged_by_content(linked(answered({"deliveries": told, "next_cursor": cursor}), cursor))


@blueprint.route("/subscriptions/<subscription_id>/replays")
class Replays(MethodView):
    """Messages told again."""

    @operate(
        blueprint,
        "replayDeliveries",
        scope=Scope.ADMIN,
        body=ReplaySchema,
        answer=ReplayedSchema,
        status=202,
        problems=(404,),
    )
    def post(self, query: Mapping[str, Any], subscription_id: str) -> Response:
        """Tell a stretch of the feed again, each message with the id that it had."""
        asked = loaded(ReplaySchema(), json_object(raw_body((JSON,))))
        first, last = asked["first_seq"], asked.get("last_seq")
        count = replay(services().desk, caller(), subscription_id, first=first, last=last)
        return answered({"messages": count}, 202)
