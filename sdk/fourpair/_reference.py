"""What a client reads that belongs to no record: rule sets, limits, faults, people."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any
from urllib.parse import quote

import requests

from fourpair._kept import FaultPage, Group, Party
from fourpair._rule_sets import Limits, RuleSet
from fourpair._told import told
from fourpair._transport import Send, operation

# Of one request: its address must stay below the 4 kB that servers commonly read.
MOST_FREQUENCIES = 200


class Reference:
    """Reading that a client does beside jobs, records and changes."""

    _send: Send

    @operation("listRuleSets")
    def rule_sets(self) -> list[RuleSet]:
        """Return the editions that the service knows, in short.

        >>> [edition.id for edition in client.rule_sets() if edition.gradable]
        ['iso-11801-1-2017', 'tia-568.2-d-2018']
        """
        document = self._send("GET", "/v1/rule-sets").json()
        return [RuleSet.from_document(found) for found in document["rule_sets"]]

    @operation("getRuleSet")
    def rule_set(self, name: str) -> RuleSet:
        """Return an edition with what each of its categories does with each parameter.

        Args:
            name: its id, or ``"TIA"`` or ``"ISO"`` for the newest of that standard.

        Raises:
            NotFoundError: there is none of that name.

        >>> [category.name for category in client.rule_set("TIA").categories]
        ['3', '5e', '6', '6A', '8']
        """
        return RuleSet.from_document(self._send("GET", f"/v1/rule-sets/{quote(name, safe='')}").json())

    @operation("getLimits")
    def limits(
        self,
        rule_set: str,
        category: str,
        configuration: str,
        parameter: str,
        *,
        frequency_mhz: Iterable[float] = (),
    ) -> Limits:
        """Return one limit with where each value comes from.

        Args:
            rule_set: id of an edition, or ``"TIA"`` or ``"ISO"``.
            category: category or class.
            configuration: ``"permanent_link"``, ``"channel"``, ``"mptl"`` or ``"patch_cord"``.
            parameter: such as ``"next"`` or ``"length"``.
            frequency_mhz: none for those where printed tables usually give values. [MHz]

        Raises:
            NotFoundError: there is no such rule set.
            InvalidDocumentError: it has no such limit, or none at such a frequency.

        >>> limits = client.limits("TIA", "6A", "permanent_link", "next", frequency_mhz=[100, 500])
        >>> [(row.frequency_mhz, row.limit) for row in limits.rows], limits.unit
        ([(100.0, 41.84), (500.0, 26.65)], 'db')
        """
        place, wanted = (category, configuration, parameter), tuple(frequency_mhz)
        parts = [wanted[i : i + MOST_FREQUENCIES] for i in range(0, max(1, len(wanted)), MOST_FREQUENCIES)]
        found = [Limits.from_document(self._limits(rule_set, "json", *place, part).json()) for part in parts]
        rows = tuple(row for each in found for row in each.rows)
        return replace(found[0], rows=rows) if len(found) > 1 else found[0]

    def limits_as(
        self,
        form: str,
        rule_set: str,
        category: str,
        configuration: str,
        parameter: str,
        *,
        frequency_mhz: Iterable[float] = (),
    ) -> bytes:
        """Return one limit as a file: ``"csv"``, ``"svg"`` or ``"json"``; see ``limits``.

        >>> client.limits_as("csv", "TIA", "6", "channel", "delay_skew").decode().splitlines()[0]
        'rule_set,category,configuration,parameter,status,frequency_mhz,limit_ns,form,basis,clause,source,note,confirmed_by,confirmed_on'
        """
        return self._limits(rule_set, form, category, configuration, parameter, frequency_mhz).content

    def _limits(
        self,
        rule_set: str,
        form: str,
        category: str,
        configuration: str,
        parameter: str,
        frequency_mhz: Iterable[float],
    ) -> requests.Response:
        query = {"category": category, "configuration": configuration, "parameter": parameter, "format": form}
        frequencies = ",".join(f"{frequency:.12g}" for frequency in frequency_mhz)
        query |= {"frequency_mhz": frequencies} if frequencies else {}
        return self._send("GET", f"/v1/rule-sets/{quote(rule_set, safe='')}/limits", params=query)

    @operation("listFaults")
    def faults(self) -> tuple[FaultPage, ...]:
        """Return plain help for every fault that can be suspected.

        >>> len(client.faults()), client.faults()[0].code
        (22, 'test_setup')
        """
        document = self._send("GET", "/v1/faults").json()
        return tuple(told(FaultPage, each) for each in document["faults"])

    @operation("explainFault")
    def fault(self, code: str) -> FaultPage:
        """Return plain help for one fault.

        Raises:
            NotFoundError: there is no such fault.

        >>> client.fault("split_pair").first
        'Re-terminate so that each pair uses two wires that are twisted with each other.'
        """
        headers = {"Accept": "application/json"}
        answer = self._send("GET", f"/v1/faults/{quote(code, safe='')}", headers=headers)
        return told(FaultPage, answer.json(), response=answer)

    @operation("getStats")
    def stats(self, *by: str, **filters: Any) -> tuple[Group, ...]:
        """Return how many records there are in each group, with the worst headroom of each.

        Args:
            by: one or several of ``"job"``, ``"outcome"``, ``"category"``, ``"tester"``, ``"month"``.
            filters: ``job``, ``tested_from``, ``tested_to``.

        >>> [(group.values, group.records) for group in client.stats("job", "outcome")]
        [({'job': 'clinic', 'outcome': 'fail'}, 1), ({'job': 'clinic', 'outcome': 'pass'}, 1)]
        """
        document = self._send("GET", "/v1/stats", params={"by": by, **filters}).json()
        return tuple(told(Group, each) for each in document["groups"])

    @operation("listParties")
    def parties(self) -> tuple[Party, ...]:
        """Return people and customers, also those whose names are erased.

        >>> [who.kind for who in client.parties()]
        ['person']
        """
        document = self._send("GET", "/v1/parties").json()
        return tuple(told(Party, each) for each in document["parties"])

    @operation("eraseParty")
    def erase_party(self, party_id: str, *, dry_run: bool = False) -> Party:
        """Forget the name of a person or customer; every record stays valid.

        Raises:
            NotFoundError: there is none of that id.

        >>> (who,) = client.parties()
        >>> client.erase_party(who.id).name, client.records.verify(record.id)
        (None, ())
        """
        path = f"/v1/parties/{quote(party_id, safe='')}"
        answer = self._send("DELETE", path, params={"dry_run": dry_run})
        return told(Party, answer.json(), response=answer)

    @operation("getLiveness")
    def alive(self) -> Mapping[str, Any]:
        """Return what the service says of its process.

        Raises:
            TransportError: it does not answer.

        >>> client.alive()["status"]
        'alive'
        """
        found: Mapping[str, Any] = self._send("GET", "/livez").json()
        return found

    @operation("getReadiness")
    def ready(self) -> Mapping[str, Any]:
        """Return what the service can work with: its rule sets and its store.

        Raises:
            ServerFailedError: it cannot work; the detail says why.

        >>> client.ready()["status"]
        'ready'
        """
        found: Mapping[str, Any] = self._send("GET", "/readyz").json()
        return found
