"""``fourpair completion``: what a shell offers after a tab."""

from __future__ import annotations

import argparse
from argparse import ArgumentParser, Namespace, _SubParsersAction
from typing import Any

from fourpair._command.output import DONE, Output

BASH = """\
# Completion of fourpair; put this into ~/.bashrc: eval "$(fourpair completion bash)"
_fourpair() {{
  local word=${{COMP_WORDS[COMP_CWORD]}} command= each
  for each in "${{COMP_WORDS[@]:1:COMP_CWORD-1}}"; do
    case " {commands} " in *" $each "*) command=$each; break;; esac
  done
  case "$command" in
{cases}
    *) COMPREPLY=($(compgen -W "{commands} {top}" -- "$word"));;
  esac
}}
complete -o default -F _fourpair fourpair
"""
ZSH = '# Completion of fourpair; put this into ~/.zshrc: eval "$(fourpair completion zsh)"\n'
ZSH_HEAD = "autoload -Uz compinit bashcompinit && compinit && bashcompinit\n"
FISH = "# Completion of fourpair: fourpair completion fish > ~/.config/fish/completions/fourpair.fish\n"


def add_to(commands: _SubParsersAction[Any]) -> None:
    """Add the command."""
    parser = commands.add_parser("completion", help="print what makes a shell complete this command")
    parser.add_argument("shell", choices=("bash", "zsh", "fish"))


def _options(parser: ArgumentParser) -> list[str]:
    actions = (action for action in parser._actions if action.help != argparse.SUPPRESS)
    return [option for action in actions for option in action.option_strings if option.startswith("--")]


def _commands(parser: ArgumentParser) -> dict[str, ArgumentParser]:
    found: dict[str, ArgumentParser] = {}
    for action in parser._actions:
        if isinstance(action, _SubParsersAction):
            found |= action.choices
    return found


def _bash(parser: ArgumentParser) -> str:
    commands = _commands(parser)
    cases = "\n".join(
        f'    {name}) COMPREPLY=($(compgen -W "{" ".join([*_options(own), "--json"])}" -- "$word"));;'
        for name, own in commands.items()
    )
    return BASH.format(commands=" ".join(commands), top=" ".join(_options(parser)), cases=cases)


def _fish(parser: ArgumentParser) -> str:
    lines = [FISH.rstrip()]
    for name, own in _commands(parser).items():
        lines.append(f"complete -c fourpair -n __fish_use_subcommand -a {name}")
        lines += [
            f"complete -c fourpair -n '__fish_seen_subcommand_from {name}' -l {option[2:]}"
            for option in _options(own)
        ]
    return "\n".join(lines) + "\n"


def run(options: Namespace, output: Output, parser: ArgumentParser) -> int:
    """Print the script of a shell."""
    bash = _bash(parser)
    scripts = {"bash": bash, "zsh": ZSH + ZSH_HEAD + bash.split("\n", 1)[1], "fish": _fish(parser)}
    output.text(scripts[options.shell].rstrip())
    return DONE
