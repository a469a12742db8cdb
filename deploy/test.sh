#!/bin/sh
# Runs every test: on SQLite, on PostgreSQL, and in a real browser on both: sh deploy/test.sh
# Installs PostgreSQL and Chromium from the system's packages when they are missing and it may.
# What it had to leave out it says at the end; with CI=true that is a failure.
set -u

cd "$(dirname "$0")/.."
. deploy/environment.sh

WORKERS=${WORKERS:-2}
LEFT_OUT=""
FAILED=""

# A folder of this run's own holds every temporary file, so that the end can stop what is left.
TMPDIR=$(mktemp -d "${TMPDIR:-/tmp}/wickbook-tests.XXXXXX") || exit 1
export TMPDIR
chmod 711 "$TMPDIR"

clean_up() {
    for pid_file in "$TMPDIR"/wickbook-pg-*/data/postmaster.pid; do
        if [ -e "$pid_file" ]; then
            kill -QUIT "$(head -n 1 "$pid_file")" 2>/dev/null
        fi
    done
    rm -rf "$TMPDIR"
}
trap clean_up EXIT
trap 'exit 130' INT
trap 'exit 143' HUP TERM

leave_out() {
    LEFT_OUT="$LEFT_OUT
   $*"
    say "LEFT OUT: $*"
}

has_postgresql() {
    command -v initdb > /dev/null || ls /usr/lib/postgresql/*/bin/initdb > /dev/null 2>&1
}

# Ubuntu's package of this name can be a stand-in that does not run: ask it.
has_chromium() {
    chromium --version > /dev/null 2>&1 || chromium-browser --version > /dev/null 2>&1 ||
        google-chrome --version > /dev/null 2>&1
}

# install_package NAME: with apt-get, where that is allowed without asking anybody.
install_package() {
    command -v apt-get > /dev/null || return 1
    if is_root; then
        as_root=""
    elif sudo -n true 2> /dev/null; then
        as_root="sudo -n"
    else
        return 1
    fi
    say "Installing $1 from the system's packages"
    $as_root apt-get update -qq < /dev/null
    $as_root env DEBIAN_FRONTEND=noninteractive \
        apt-get install -y -qq --no-install-recommends "$1" < /dev/null > "$TMPDIR/apt.log" 2>&1 || {
        tail -n 5 "$TMPDIR/apt.log"
        return 1
    }
}

# run_step NAME COMMAND...: shows the name, runs, shows the time it took, remembers a failure.
run_step() {
    name=$1
    shift
    echo
    say "$name"
    began=$(date +%s)
    if "$@" < /dev/null; then
        say "$name: passed in $(($(date +%s) - began)) s"
    else
        FAILED="$FAILED
   $name"
        say "$name: FAILED after $(($(date +%s) - began)) s"
    fi
}

PYTEST="$VENV/bin/python -m pytest -q --dist worksteal"

prepare_to_test

has_postgresql || install_package postgresql
has_chromium || install_package chromium

run_step "Tests on SQLite" $PYTEST -m "not browser" -n "$WORKERS"
if has_postgresql; then
    # What touches no database has just been run and says the same on either.
    run_step "Tests on PostgreSQL" $PYTEST -m "not browser" -n "$WORKERS" --database postgresql \
        --with-database-only
else
    leave_out "every test on PostgreSQL: install the package postgresql"
fi
if has_chromium; then
    run_step "In the browser on SQLite" $PYTEST -m browser
    if has_postgresql; then
        run_step "In the browser on PostgreSQL" $PYTEST -m browser --database postgresql
    fi
else
    leave_out "every test in the browser: install the package chromium"
fi

echo
if [ -n "$FAILED" ]; then
    say "FAILED:$FAILED"
fi
if [ -n "$LEFT_OUT" ]; then
    say "NOT TESTED, because it could not be installed here:$LEFT_OUT"
    if [ "${CI:-}" = true ]; then
        FAILED="$FAILED$LEFT_OUT"
    fi
fi
if [ -n "$FAILED" ]; then
    exit 1
fi
say "Everything that ran has passed."
