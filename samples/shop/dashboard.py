"""Dashboard: a page that shows where a job stands, and changes as the job does.

    python dashboard.py alder-row-clinic --port 8750

The program follows the change feed and holds the key; the page asks it for what is
new and knows nothing of the service. It listens on this machine alone.
"""

from __future__ import annotations

import argparse
import json
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

from fourpair import Client, FourpairError

WAIT_S = 5.0
PAGE = """<!doctype html>
<html lang="en"><meta charset="utf-8"><title>Where the job stands</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<style>
 body { font: 1.1rem/1.5 sans-serif; margin: 2rem auto; max-width: 46rem; padding: 0 1rem }
 dl { display: grid; grid-template-columns: max-content 1fr; gap: .2rem 1.5rem } dt { font-weight: bold }
 dd { margin: 0 } li { border-bottom: 1px solid #ccc; padding: .3rem 0; list-style: none } ul { padding: 0 }
</style>
<h1 id="job">…</h1>
<dl id="counts"></dl>
<h2>To redo</h2><ul id="redo"></ul>
<h2>Since this page was opened</h2><ul id="news" aria-live="polite"></ul>
<p id="trouble" role="status"></p>
<script src="/page.js"></script>
</html>
"""
SCRIPT = """'use strict';
const words = {pass: 'pass', marginal_pass: 'pass*', marginal_fail: 'fail*', fail: 'fail', incomplete: 'incomplete'};
const place = id => document.getElementById(id);
function line(list, text) {
  const item = document.createElement('li');
  item.textContent = text;
  place(list).append(item);
}
function show(state, isFirst) {
  place('job').textContent = state.job;
  place('counts').replaceChildren();
  const told = {'Links': state.links, 'Done': state.done, ...state.counts, 'Not tested yet': state.missing.length};
  for (const [name, value] of Object.entries(told)) {
    const term = document.createElement('dt'), number = document.createElement('dd');
    term.textContent = words[name] || name;
    number.textContent = value;
    place('counts').append(term, number);
  }
  place('redo').replaceChildren();
  for (const link of state.redo) line('redo', link.label + ': ' + link.failing.join(', '));
  if (!isFirst) for (const change of state.news) line('news', change);
}
async function follow() {
  let seen = null;
  for (;;) {
    try {
      const answer = await fetch('/state' + (seen === null ? '' : '?seen=' + seen));
      const state = await answer.json();
      if (state.seq !== seen) show(state, seen === null);
      seen = state.seq;
      place('trouble').textContent = state.trouble || '';
    } catch (error) {
      place('trouble').textContent = 'The dashboard does not answer; trying again.';
    }
    await new Promise(resolve => setTimeout(resolve, 300));
  }
}
follow();
"""
HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; connect-src 'self'; style-src 'unsafe-inline'",
    "Cache-Control": "no-store",
    "X-Content-Type-Options": "nosniff",
}


class State:
    """Where the job stands, as the follower last saw it."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._summary: dict[str, Any] = {}
        self._news: list[tuple[int, str]] = []
        self._trouble = ""

    def put(self, summary: dict[str, Any], news: tuple[int, str] | None = None) -> None:
        """Take note of a summary, and of the change that led to it."""
        with self._changed:
            self._summary, self._trouble = summary, ""
            self._news += [news] if news else []
            self._changed.notify_all()

    def fail(self, trouble: str) -> None:
        """Take note that the service does not answer."""
        with self._changed:
            self._trouble = trouble

    def after(self, seen: int) -> dict[str, Any]:
        """Return the state, once it is newer than what was seen or some time has passed."""
        with self._changed:
            self._changed.wait_for(lambda: self._summary.get("seq", 0) > seen, WAIT_S)
            own = self._summary
            return {
                "job": own["job"],
                "seq": own["seq"],
                "links": own["links"],
                "done": own["done"],
                "counts": own["counts"],
                "missing": own["missing"],
                "redo": own["groups"]["redo"],
                "news": [text for seq, text in self._news if seq > seen],
                "trouble": self._trouble,
            }


def follow(client: Client, job: str, state: State, after: int, stop: threading.Event) -> None:
    """Follow the feed and keep the state, whatever happens to the service meanwhile."""
    while not stop.is_set():
        try:
            for change in client.changes.follow(after=after, job=job, wait_s=2):
                after = change.seq
                text = (
                    f"{change.label or 'job'}: {change.kind.partition('.')[2]} {change.outcome or ''}".strip()
                )
                state.put(client.jobs.summary(job).to_dict(), (change.seq, text))
                if stop.is_set():
                    return
        except FourpairError as error:
            state.fail(str(error).splitlines()[0])
            stop.wait(1.0)


def handler_of(state: State) -> type[BaseHTTPRequestHandler]:
    """Return what answers the page."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            parts = urlsplit(self.path)
            if parts.path == "/state":
                seen = parse_qs(parts.query).get("seen", ["-1"])[0]
                document = state.after(int(seen) if seen.isdigit() else -1)
                return self._answer("application/json", json.dumps(document))
            if parts.path == "/page.js":
                return self._answer("text/javascript", SCRIPT)
            if parts.path == "/":
                return self._answer("text/html", PAGE)
            return self.send_error(404)

        def _answer(self, kind: str, text: str) -> None:
            body = text.encode()
            self.send_response(200)
            self.send_header("Content-Type", f"{kind}; charset=utf-8")
            self.send_header("Content-Length", str(len(body)))
            for name, value in HEADERS.items():
                self.send_header(name, value)
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, format: str, *args: Any) -> None:
            pass

    return Handler


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("job")
    parser.add_argument("--port", type=int, default=8750)
    options = parser.parse_args()
    shown, stopping = State(), threading.Event()
    with Client() as service:
        newest = service.changes.newest()
        shown.put(service.jobs.summary(options.job).to_dict())
        arguments = (service, options.job, shown, newest, stopping)
        threading.Thread(target=follow, args=arguments, daemon=True).start()
        with ThreadingHTTPServer(("127.0.0.1", options.port), handler_of(shown)) as server:
            print(f"http://127.0.0.1:{server.server_port}/", flush=True)
            try:
                server.serve_forever()
            except KeyboardInterrupt:
                stopping.set()
