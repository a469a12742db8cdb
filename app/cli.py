"""The `wickbook` command: the plant's terminal."""

from pathlib import Path
from typing import Annotated

import typer
import uvicorn
from alembic import command
from alembic.config import Config
from rich.console import Console

from app.accounts.commands import account
from app.analyse.commands import analyse
from app.core.db import create_house_engine
from app.core.settings import read_settings
from app.history.commands import verify
from app.jobs.commands import recompute
from app.measure.commands import measure

PROJECT = Path(__file__).parent.parent

main = typer.Typer(no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False)
main.add_typer(account, name="account")
main.command()(analyse)
main.command()(measure)
main.command()(recompute)
main.command()(verify)
console = Console()


@main.command()
def serve(
    host: Annotated[str, typer.Option(help="The address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(help="The port to listen on.", min=1, max=65535)] = 8000,
    workers: Annotated[int, typer.Option(help="Processes; more than 1 on PostgreSQL.")] = 1,
) -> None:
    """Serve the plant's pages and its REST interface."""
    settings = read_settings()
    if workers > 1 and settings.is_sqlite:
        raise typer.BadParameter("SQLite is served by one process; use PostgreSQL for more")
    uvicorn.run(
        "app.main:create_app",
        factory=True,
        host=host,
        port=port,
        workers=workers,
        forwarded_allow_ips=settings.trusted_proxies,
        log_level="warning",
    )


@main.command()
def migrate() -> None:
    """Bring the database to the newest form; do this before the first start and each update."""
    settings = read_settings()
    engine = create_house_engine(settings.database_url)
    config = Config(toml_file=PROJECT / "pyproject.toml")
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "head")
    console.print(f"The database is in its newest form: {engine.url.render_as_string()}")


if __name__ == "__main__":
    main()
