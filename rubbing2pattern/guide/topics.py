"""The table of topics: one for each page, in the order in which a person needs them.

The index of the pages, the list of `help` and the messages that name a page all read it.
"""

from __future__ import annotations

from dataclasses import dataclass

HELP = "rubbing2pattern help"
INDEX = "index"
"""The page that lists all others; it is made from this table."""


@dataclass(frozen=True, slots=True)
class Topic:
    """A page of the guide.

    Attributes
    ----------
    name : the page's file without its ending, and the word after `help`.
    use : what the page is for, in one line that says what to do.
    commands : the commands that it explains.
    """

    name: str
    use: str
    commands: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Group:
    """Topics that are needed at one time of the work."""

    title: str
    topics: tuple[Topic, ...]


GUIDE = (
    Group(
        "Before you begin",
        (
            Topic("cautions", "work safely with lead, solder, paints and old glass"),
            Topic("installing", "install the program, and complete commands with the Tab key"),
            Topic("taking-a-rubbing", "take a rubbing that can be traced, and photograph it"),
        ),
    ),
    Group(
        "From the rubbing to the pattern",
        (
            Topic("tracing", "trace a rubbing: references and options", ("trace", "targets")),
            Topic("results", "know what each file is for, and what a finding is", ("demo",)),
            Topic("documents", "look up every file, and every column of the lists"),
            Topic("figures", "understand every figure, column and finding"),
            Topic("pieces", "understand numbers, outlines and sizes of the pieces"),
            Topic("corrections", "settle doubts: correct leads, widths, numbers", ("correct",)),
            Topic("review", "settle doubts on a page that shows the rubbing", ("review",)),
            Topic("printing", "print at true size, on other paper or mirrored", ("redraw",)),
        ),
    ),
    Group(
        "Glass and lead",
        (
            Topic("glass-lists", "fill in the sheet of pieces and order glass", ("lists",)),
            Topic("templates", "cut the pieces to be replaced"),
            Topic("lead-to-cut", "buy and cut the lead"),
            Topic("loose-pieces", "find the numbers of loose pieces by photograph", ("match",)),
        ),
    ),
    Group(
        "Many panels, many years",
        (
            Topic("batch", "trace a whole list of rubbings", ("batch",)),
            Topic("compare", "see what changed between two rubbings", ("compare",)),
            Topic("archive", "pack panels for an archive and check it", ("archive", "verify")),
        ),
    ),
    Group(
        "For scripts and programs",
        (
            Topic("command-line", "use exit codes, JSON and streams in scripts"),
            Topic("python", "call the program from Python"),
            Topic("options", "change any threshold with --set"),
        ),
    ),
    Group(
        "How it works, and how well",
        (
            Topic("accuracy", "judge how accurate it is, and what it misses"),
            Topic("reliability", "know what is promised and tested, and what is installed"),
            Topic("finding-lead", "learn how it decides what is lead"),
            Topic("lead-lines", "learn how lead lines and widths are measured"),
            Topic("fitting-glass", "learn how loose glass is matched"),
        ),
    ),
)

TOPICS = {topic.name: topic for group in GUIDE for topic in group.topics}


def see(name: str) -> str:
    """Return the command that shows a page, in quotes, for messages.

    Raises
    ------
    KeyError
        There is no such topic.
    """
    return f"'{HELP} {TOPICS[name].name}'"


def topic_of(command: str) -> Topic | None:
    """Return the topic that explains a command."""
    return next((topic for topic in TOPICS.values() if command in topic.commands), None)
