"""The command `help`: the pages of the guide, which come with the program."""

from __future__ import annotations

import io
import re
import shutil
from collections.abc import Iterator, Mapping
from difflib import get_close_matches

import click
from click.shell_completion import CompletionItem

from rubbing2pattern.cli.renamed import FORMER_COMMANDS
from rubbing2pattern.cli.stdout import show, show_page
from rubbing2pattern.errors import EXIT_DONE, UsageFault
from rubbing2pattern.guide.topics import GUIDE, HELP, INDEX, TOPICS

_LINK = re.compile(r"\[([^\]]+)\]\(([a-z-]+)\.md(?:#[^)]*)?\)")
_WIDEST = 100
"""Signs in a line of a page on a terminal; longer lines are hard to follow."""
_NOT_SHOWN = "the page cannot be shown"


def _completed(
    context: click.Context, parameter: click.Parameter, begun: str
) -> list[CompletionItem]:
    return [
        CompletionItem(topic.name, help=topic.use)
        for topic in TOPICS.values()
        if topic.name.startswith(begun)
    ]


@click.command("help")
@click.argument("topic", default=INDEX, metavar="[TOPIC]", shell_complete=_completed)
@click.pass_context
def help_pages(context: click.Context, topic: str) -> int:
    """Show the page about TOPIC; without it, list the topics.

    TOPIC may also be the name of a command: then its options are listed.
    """
    name = topic.removesuffix(".md").removeprefix("docs/")
    name = FORMER_COMMANDS.get(name, name)
    commands = _commands(context)
    if name == INDEX:
        show("\n".join(_listed()), _NOT_SHOWN)
    elif name in TOPICS:
        _show_page(name)
    elif name in commands:
        with click.Context(commands[name], context.parent, name) as asked:
            show(asked.get_help(), _NOT_SHOWN)
    else:
        near = get_close_matches(name, [*TOPICS, *commands], n=1)
        meant = f"; did you mean {near[0]}?" if near else ""
        raise UsageFault(f"there is no page {topic!r}{meant}\n'{HELP}' lists the topics.")
    return EXIT_DONE


def _commands(context: click.Context) -> Mapping[str, click.Command]:
    group = context.parent.command if context.parent else None
    return group.commands if isinstance(group, click.Group) else {}


def _listed() -> Iterator[str]:
    wide = max(map(len, TOPICS))
    yield f"Pages of the guide. Show one with: {HELP} TOPIC"
    for group in GUIDE:
        yield ""
        yield group.title
        for topic in group.topics:
            yield f"  {topic.name:<{wide}}  {topic.use}"


def _show_page(name: str) -> None:
    from rubbing2pattern.guide.pages import page_text

    show_page(page_text(name), _NOT_SHOWN, _laid_out)


def _laid_out(text: str) -> str:
    """Lay a page out for a terminal; links become the word to ask for."""
    from rich.console import Console
    from rich.markdown import Markdown

    known = _LINK.sub(lambda m: f"{m[1]} (`help {m[2]}`)" if m[2] in TOPICS else m[0], text)
    width = min(_WIDEST, shutil.get_terminal_size().columns)
    console = Console(file=io.StringIO(), width=width, force_terminal=True)
    with console.capture() as captured:
        console.print(Markdown(known, hyperlinks=False))
    return captured.get()
