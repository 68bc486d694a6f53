"""The editions that are known, and the limit of any parameter as numbers, CSV or a picture."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from flask import Response, current_app, request
from flask.views import MethodView

from fourpair_service.domain.limits import RuleSet
from fourpair_service.http.kit import StrictBlueprint
from fourpair_service.http.query_errors import InvalidQueryError, NotAcceptableError
from fourpair_service.http.revalidation import revalidated
from fourpair_service.http.rule_set_documents import detail_document, list_document, table_document
from fourpair_service.http.schemas.rule_sets import (
    LimitQuery,
    LimitTableSchema,
    PlainQuery,
    RuleSetListSchema,
    RuleSetSchema,
)
from fourpair_service.http.services import services
from fourpair_service.reports.limit_chart import limit_chart
from fourpair_service.reports.limit_csv import limit_csv
from fourpair_service.rulesets.errors import LimitNotFoundError, RuleSetNotFoundError, UnknownRuleSetError
from fourpair_service.rulesets.limit_table import LimitTable, limit_table

MEDIA_TYPES: Final = {"json": "application/json", "csv": "text/csv", "svg": "image/svg+xml"}
KEPT: Final = {"description": "As the client has it already (If-None-Match)"}
NO_RULE_SET: Final = "There is no such rule set"

blueprint = StrictBlueprint(
    "rule-sets", __name__, url_prefix="/v1", description="Editions of standards and their limits"
)


def _rule_set(name: str) -> RuleSet:
    try:
        return services().catalogue.get(name)
    except UnknownRuleSetError as error:
        raise RuleSetNotFoundError(error.name, error.known, error.advice) from error


def _json(document: Mapping[str, Any]) -> Response:
    return Response(current_app.json.dumps(document), content_type=MEDIA_TYPES["json"])


def _csv(table: LimitTable) -> Response:
    response = Response(limit_csv(table), content_type=f"{MEDIA_TYPES['csv']}; charset=utf-8; header=present")
    name = "_".join((table.rule_set.id, table.category.name, table.configuration, table.parameter))
    response.headers.set("Content-Disposition", "attachment", filename=f"{name}.csv")
    return response


def _svg(table: LimitTable, *, marked: bool) -> Response:
    return Response(limit_chart(table, marked=marked), content_type=MEDIA_TYPES["svg"])


def _format(asked: str | None) -> str:
    if asked is not None:
        return asked
    best = request.accept_mimetypes.best_match(list(MEDIA_TYPES.values()))
    found = next((name for name, kind in MEDIA_TYPES.items() if kind == best), None)
    if found is not None or not request.accept_mimetypes:
        return found or "json"
    raise NotAcceptableError(
        f"The Accept header asks for {request.accept_mimetypes}; a limit is given as "
        f"{', '.join(MEDIA_TYPES.values())}. Ask for one of these, or say format=json, csv or svg."
    )


@blueprint.route("/rule-sets")
class RuleSets(MethodView):
    """The rule sets that this service knows."""

    @blueprint.arguments(PlainQuery, location="query", as_kwargs=True)
    @blueprint.response(200, RuleSetListSchema)
    @blueprint.alt_response(304, **KEPT)
    @blueprint.doc(operationId="listRuleSets")
    def get(self) -> Response:
        """List the editions, how well their limits are known, and what is known by name alone."""
        catalogue = services().catalogue
        seals = sorted(f"{rule_set.id} {rule_set.digest}" for rule_set in catalogue)
        return revalidated(_json(list_document(catalogue)), "list", *seals)


@blueprint.route("/rule-sets/<name>")
class OneRuleSet(MethodView):
    """One rule set."""

    @blueprint.arguments(PlainQuery, location="query", as_kwargs=True)
    @blueprint.response(200, RuleSetSchema)
    @blueprint.alt_response(304, **KEPT)
    @blueprint.alt_response(404, description=NO_RULE_SET)
    @blueprint.doc(operationId="getRuleSet")
    def get(self, name: str) -> Response:
        """Show the switches of an edition with their sources, and what each category requires.

        The name is an id, or TIA or ISO for the newest edition of that standard.
        """
        own, rule_set = services().catalogue, _rule_set(name)
        document = detail_document(own, rule_set)
        return revalidated(_json(document), "detail", rule_set.digest, str(document["superseded_by"]))


@blueprint.route("/rule-sets/<name>/limits")
class Limits(MethodView):
    """One limit of a rule set."""

    @blueprint.arguments(LimitQuery, location="query")
    @blueprint.response(200, LimitTableSchema)
    @blueprint.alt_response(304, **KEPT)
    @blueprint.alt_response(404, description=NO_RULE_SET)
    @blueprint.alt_response(406, description="No such form is offered")
    @blueprint.doc(
        operationId="getLimits",
        responses={
            200: {
                "content": {
                    MEDIA_TYPES["csv"]: {"schema": {"type": "string"}},
                    MEDIA_TYPES["svg"]: {"schema": {"type": "string"}},
                }
            }
        },
    )
    def get(self, query: Mapping[str, Any], name: str) -> Response:
        """Give the limit of a parameter at frequencies, as JSON, CSV or SVG.

        Each row says its form, clause, source and basis, and whether the parameter
        is required, judged where present, or information. The form is chosen by
        ``format``, else by the Accept header.
        """
        frequencies_mhz: tuple[float, ...] = query.get("frequency_mhz", ())
        table = _table(_rule_set(name), query, frequencies_mhz)
        asked = _format(query.get("format"))
        forms: Mapping[str, Callable[[], Response]] = {
            "json": lambda: _json(table_document(table)),
            "csv": lambda: _csv(table),
            "svg": lambda: _svg(table, marked=bool(frequencies_mhz)),
        }
        place = (table.category.name, table.configuration, table.parameter, str(frequencies_mhz))
        return revalidated(forms[asked](), asked, table.rule_set.digest, *place)


def _table(rule_set: RuleSet, query: Mapping[str, Any], frequencies_mhz: tuple[float, ...]) -> LimitTable:
    try:
        return limit_table(
            rule_set, query["category"], query["configuration"], query["parameter"], frequencies_mhz
        )
    except LimitNotFoundError as error:
        raise InvalidQueryError(f"/query/{error.asked}", error.detail, error.value) from error
