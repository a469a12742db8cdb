"""A PostgreSQL cluster of one run's own, in a temporary folder, gone when the run ends."""

import os
import pwd
import shutil
import subprocess
import tempfile
from pathlib import Path

ROLE = "wickbook"
NEVER_DURABLE = "-c fsync=off -c synchronous_commit=off -c full_page_writes=off"


def find_binaries() -> Path | None:
    """Return the folder of the newest installed server, or None."""
    on_path = shutil.which("initdb")
    if on_path:
        return Path(on_path).resolve().parent
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda f: int(f.parts[-3]))
    return found[-1].parent if found else None


class Cluster:
    """Starts on creation; `stop` ends it and removes the folder."""

    def __init__(self, *, durable: bool = False) -> None:
        binaries = find_binaries()
        if binaries is None:
            raise RuntimeError("no PostgreSQL server is installed: install postgresql, then retry")
        self.binaries = binaries
        self.folder = Path(tempfile.mkdtemp(prefix="wickbook-pg-"))
        self.user = self._choose_user()
        data = self.folder / "data"
        self._run("initdb", "-D", str(data), "-U", ROLE, "-A", "trust", "-E", "UTF8", "--no-locale")
        options = f"-c listen_addresses='' -k {self.folder} -c max_connections=200"
        if not durable:
            options += f" {NEVER_DURABLE}"
        self._run("pg_ctl", "-D", str(data), "-w", "-o", options, "-l", str(data / "log"), "start")

    @property
    def url(self) -> str:
        """The address of the maintenance database."""
        return self.url_of("postgres")

    def url_of(self, database: str) -> str:
        """Return the address of a database of the cluster."""
        return f"postgresql+psycopg://{ROLE}@/{database}?host={self.folder}"

    def stop(self) -> None:
        """End the server and remove its folder."""
        try:
            self._run("pg_ctl", "-D", str(self.folder / "data"), "-m", "immediate", "stop")
        finally:
            shutil.rmtree(self.folder, ignore_errors=True)

    def _choose_user(self) -> str | None:
        # The server refuses to run as root; the package brings a user for it.
        if os.geteuid() != 0:
            return None
        name = next(name for name in ("postgres", "nobody") if _has_user(name))
        shutil.chown(self.folder, name)
        self.folder.chmod(0o755)
        return name

    def _run(self, program: str, *arguments: str) -> None:
        subprocess.run(  # noqa: S603
            [str(self.binaries / program), *arguments],
            user=self.user,
            cwd=self.folder,
            check=True,
            stdout=subprocess.DEVNULL,
            env={"PATH": os.environ["PATH"], "LC_ALL": "C"},
        )


def _has_user(name: str) -> bool:
    try:
        pwd.getpwnam(name)
    except KeyError:
        return False
    return True
