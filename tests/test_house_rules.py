"""Is it in style? Layers, migrations, and the rules that only a look at the syntax can check."""

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from alembic import command as alembic

import app.main  # noqa: F401 - so that every subject's tables are known
from app.cli.command import command
from app.cli.migrate import alembic_config
from app.database import Base
from app.settings import Settings

ROOT = Path(__file__).parent.parent
APP = ROOT / "app"


def _sources(folder: Path = APP) -> Iterator[tuple[str, ast.Module]]:
    for path in sorted(folder.rglob("*.py")):
        yield str(path.relative_to(ROOT)), ast.parse(path.read_text())


def _calls(tree: ast.Module) -> Iterator[tuple[str, ast.Call]]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute | ast.Name):
            name = node.func.attr if isinstance(node.func, ast.Attribute) else node.func.id
            yield name, node


def test_the_subjects_stand_on_each_other_in_one_order() -> None:
    answer = subprocess.run(
        [Path(sys.executable).parent / "lint-imports", "--no-cache"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert answer.returncode == 0, answer.stdout


def test_the_migrations_make_what_the_program_expects(database_url: str) -> None:
    alembic.check(alembic_config(database_url))


def test_the_migrations_go_down_and_up_again(database_url: str) -> None:
    alembic.downgrade(alembic_config(database_url), "base")
    alembic.upgrade(alembic_config(database_url), "head")


def test_every_append_only_table_has_its_triggers() -> None:
    # LET_GO: tables whose rows could not change at all, and since then may in their figures.
    named: dict[str, set[str]] = {"TABLES": set(), "LET_GO": set()}
    for migration in (ROOT / "migrations" / "versions").glob("*.py"):
        for node in ast.parse(migration.read_text()).body:
            if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) in named:
                named[ast.unparse(node.targets[0])] |= set(ast.literal_eval(node.value))
    kept = named["TABLES"] - named["LET_GO"]
    declared = {
        mapper.local_table.name for mapper in Base.registry.mappers if mapper.class_.append_only
    }
    assert kept == declared


def test_only_services_open_deciding_transactions() -> None:
    for name, tree in _sources():
        if re.search(r"/service(\w*\.py$|/)|/database\.py$|/importing\.py$", name):
            continue
        for called, _ in _calls(tree):
            assert called not in {"write", "commit", "rollback"} or _is_a_stream(name, called), name


def _is_a_stream(name: str, called: str) -> bool:
    # Files and buffers are written too; only these places do so.
    return called == "write" and name.startswith(
        ("app/loads/", "app/cli/", "app/documents/", "app/web/arriving")
    )


def test_only_pages_and_commands_read_the_clock() -> None:
    clock = {"now", "today", "utcnow", "time_ns"}
    for name, tree in _sources():
        if name.endswith("/pages.py") or name.startswith(("app/cli/", "app/web/", "app/people/")):
            continue
        for called, node in _calls(tree):
            reads_clock = isinstance(node.func, ast.Attribute) and called in clock
            assert not reads_clock, f"{name}:{node.lineno} reads the clock"


def test_migrations_import_nothing_of_the_program() -> None:
    for path in (ROOT / "migrations" / "versions").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.ImportFrom):
                assert not (node.module or "").startswith("app"), path.name
            if isinstance(node, ast.Import):
                assert not any(alias.name.startswith("app") for alias in node.names), path.name


_BANNED = re.compile(r"(^|_)(data|info|item|entity|manager|handler|processor|helper|utils?)(_|$)")


def test_names_are_trade_words() -> None:
    for name, tree in _sources():
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef | ast.ClassDef):
                snake = re.sub(r"(?<=[a-z])(?=[A-Z])", "_", node.name).lower()
                # FastAPI's name for what a route answers with.
                ours = node.name != "get_route_handler"
                assert not (ours and _BANNED.search(snake)), f"{name}: {node.name}"
                assert not snake.startswith(("process_", "do_")) or node.name in {
                    "process_bind_param",  # SQLAlchemy's names for the two ways of a column type
                    "process_result_value",
                }, f"{name}: {node.name}"


@pytest.mark.parametrize("kind", ["py", "html", "css", "js"])
def test_no_file_of_ours_is_longer_than_four_hundred_lines(kind: str) -> None:
    for folder in (APP, ROOT / "templates", ROOT / "seed_demo"):
        for path in folder.rglob(f"*.{kind}"):
            if "vendor" not in path.parts:
                assert len(path.read_text().splitlines()) <= 400, path


def test_templates_have_no_inline_style_or_script() -> None:
    forbidden = re.compile(r"<style|\sstyle=|<script(?![^>]*\ssrc=)|\son[a-z]+=\"", re.IGNORECASE)
    for path in (ROOT / "templates").rglob("*.html"):
        assert not forbidden.search(path.read_text()), path


def test_every_setting_is_explained_in_the_readme() -> None:
    readme = (ROOT / "README.md").read_text()
    for name in Settings.model_fields:
        # The demonstration alone sets "demo"; nobody else has a use for it.
        assert name == "demo" or f"`TEMPERBOOK_{name.upper()}`" in readme, name


def test_every_command_is_shown_in_the_readme() -> None:
    readme = (ROOT / "README.md").read_text()
    for found in command.registered_commands:
        assert found.callback is not None
        name = found.name or found.callback.__name__.replace("_", "-")
        assert f"temperbook {name}" in readme, name


def test_nothing_of_the_workshop_is_named_in_the_project() -> None:
    forbidden = re.compile(r"/work/|\.\./shared|shared/(design|reference|needs)")
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False
    ).stdout.split()
    for name in listed:
        path = ROOT / name
        if path.suffix in {".py", ".md", ".html", ".toml", ".css", ".js", ".mako"}:
            if path == Path(__file__) or not path.exists():
                continue
            assert not forbidden.search(path.read_text()), name
