"""The pages keep their promises: commands and words are described, links lead somewhere, decisions are numbered."""

from __future__ import annotations

import importlib
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import click

import brinemark
from brinemark.terms.glossary import GLOSSARY, terms_page

ROOT = Path(__file__).resolve().parents[1]
DOCS = ROOT / "docs"
LINK = re.compile(r"!?\[[^\]]*\]\(([^)\s]+)\)")
FENCE = re.compile(r"^```.*?^```", re.MULTILINE | re.DOTALL)
HEADING = re.compile(r"^#+ (.+)$", re.MULTILINE)


def pages() -> list[Path]:
    return [*sorted(ROOT.glob("*.md")), *sorted(DOCS.rglob("*.md"))]


def prose(page: Path) -> str:
    return FENCE.sub("", page.read_text(encoding="utf-8"))


def anchors(page: Path) -> set[str]:
    """Names of a page's headings: lower case, words joined by hyphens, other signs dropped."""
    return {
        re.sub(r"[^\w\- ]", "", heading.lower()).strip().replace(" ", "-") for heading in HEADING.findall(prose(page))
    }


def inner_links() -> Iterator[tuple[Path, str]]:
    for page in pages():
        for target in LINK.findall(prose(page)):
            if not re.match(r"[a-z]+:", target):
                yield page, target


def leads_somewhere(page: Path, target: str) -> bool:
    name, _, anchor = target.partition("#")
    goal = (page.parent / name).resolve() if name else page
    return goal.exists() and (not anchor or anchor in anchors(goal))


def command_group() -> click.Group:
    module = importlib.import_module("brinemark.faces.cli.main")
    groups = [value for value in vars(module).values() if isinstance(value, click.Group)]
    assert len(groups) == 1, "brinemark.faces.cli.main should hold exactly one click group"
    return groups[0]


def commands() -> dict[str, click.Command]:
    group = command_group()
    context = click.Context(group)
    found = {name: group.get_command(context, name) for name in group.list_commands(context)}
    return {name: command for name, command in found.items() if command is not None}


def test_every_command_has_a_help_text_and_every_option_too() -> None:
    silent = [name for name, command in commands().items() if not command.help]
    silent += [
        f"{name} {option.opts[0]}"
        for name, command in commands().items()
        for option in command.params
        if isinstance(option, click.Option) and not option.help
    ]
    assert silent == []


def test_every_command_and_option_is_described_in_the_command_page() -> None:
    text = (DOCS / "commands.md").read_text(encoding="utf-8")
    headings = set(HEADING.findall(text))
    missing = [name for name in commands() if name not in headings]
    missing += [
        f"{name} {flag}"
        for name, command in commands().items()
        for option in command.params
        if isinstance(option, click.Option)
        for flag in option.opts
        if flag.startswith("--") and f"`{flag}" not in text
    ]
    assert missing == []


def test_the_command_page_describes_no_command_that_does_not_exist() -> None:
    described = re.findall(r"^## (\S+)$", (DOCS / "commands.md").read_text(encoding="utf-8"), re.MULTILINE)
    assert sorted(described) == sorted(commands())


def test_the_page_of_words_is_made_from_the_glossary() -> None:
    assert (DOCS / "terms.md").read_text(encoding="utf-8") == terms_page()


def test_every_word_of_the_glossary_is_in_the_page_of_words_with_a_sentence() -> None:
    text = terms_page()
    assert [word for word in GLOSSARY if f"| {word} |" not in text] == []
    assert [word for word, term in GLOSSARY.items() if not term.meaning.endswith(".")] == []


def test_every_link_in_the_pages_leads_somewhere() -> None:
    broken = [
        f"{page.relative_to(ROOT)}: {target}" for page, target in inner_links() if not leads_somewhere(page, target)
    ]
    assert broken == []


def test_a_link_to_nowhere_is_noticed() -> None:
    assert not leads_somewhere(ROOT / "README.md", "docs/no-such-page.md")
    assert not leads_somewhere(DOCS / "README.md", "terms.md#no-such-heading")
    assert leads_somewhere(DOCS / "README.md", "terms.md#readings-and-statements")


def test_the_index_names_every_page_of_the_docs() -> None:
    linked = {
        (page.parent / target.partition("#")[0]).resolve()
        for page, target in inner_links()
        if page == DOCS / "README.md"
    }
    kept = [page for page in pages() if DOCS in page.parents and page.parent.name != "decisions"]
    assert [str(page.relative_to(DOCS)) for page in kept if page != DOCS / "README.md" and page not in linked] == []


def test_decisions_are_numbered_without_gap_or_double_and_have_a_title() -> None:
    files = sorted((DOCS / "decisions").glob("*"))
    names = [path.name for path in files]
    assert [name for name in names if not re.fullmatch(r"\d{4}-[a-z0-9-]+\.md", name)] == []
    assert [int(name[:4]) for name in names] == list(range(1, len(names) + 1))
    assert [path.name for path in files if not path.read_text(encoding="utf-8").startswith("# ")] == []


def test_the_changelog_and_the_citation_name_this_version() -> None:
    assert re.search(rf"^## {re.escape(brinemark.__version__)}\b", (ROOT / "CHANGELOG.md").read_text("utf-8"), re.M)
    assert f"version: {brinemark.__version__}\n" in (ROOT / "CITATION.cff").read_text("utf-8")


def test_the_two_readme_commands_are_in_the_readme() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert "python3 run.py demo" in text
    assert "python3 run.py test" in text


def test_the_project_file_names_the_oldest_python_of_run_py() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["requires-python"] == ">=3.11"
    assert "OLDEST_PYTHON = (3, 11)" in (ROOT / "run.py").read_text(encoding="utf-8")
