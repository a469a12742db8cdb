#!/bin/sh
# Serves Wickbook with its demo: sh deploy/demo.sh [PORT]
# The first start makes everything; a later one begins at once and keeps the data.
set -eu

cd "$(dirname "$0")/.."
. deploy/environment.sh

PORT=${1:-8000}
FOLDER=.wickbook
DATABASE=$FOLDER/wickbook.db
LOADING=$FOLDER/loading.db
ACCOUNTS=$FOLDER/demo-accounts.txt

case $PORT in
    *[!0-9]* | "") refuse "The port is a number, like 8000; not '$PORT'." ;;
esac

prepare_to_serve

"$VENV/bin/python" - "$PORT" <<'PYTHON' || refuse "Port $PORT on 127.0.0.1 is taken (or not allowed): is Wickbook running already? Choose another:
   sh deploy/demo.sh 8080"
import socket, sys
with socket.socket() as door:
    door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        door.bind(("127.0.0.1", int(sys.argv[1])))
    except (OSError, OverflowError):
        sys.exit(1)
PYTHON

# True when the database of the demo exists and somebody has an account in it.
is_loaded() {
    [ -e "$DATABASE" ] && "$VENV/bin/python" - "$DATABASE" <<'PYTHON'
import sqlite3, sys
try:
    (count,) = sqlite3.connect(sys.argv[1]).execute("SELECT count(*) FROM accounts").fetchone()
except sqlite3.Error:
    count = 0
sys.exit(count == 0)
PYTHON
}

mkdir -p "$FOLDER"
WICKBOOK_PLANT_NAME=$("$VENV/bin/python" -c 'from seed_demo.plant import PLANT_NAME; print(PLANT_NAME)')
WICKBOOK_PLANT_ZONE=$("$VENV/bin/python" -c 'from seed_demo.plant import TIME_ZONE; print(TIME_ZONE)')
export WICKBOOK_PLANT_NAME WICKBOOK_PLANT_ZONE
if is_loaded; then
    WICKBOOK_DATABASE_URL="sqlite:///$DATABASE"
    export WICKBOOK_DATABASE_URL
    say "Bringing the database to its newest form; the data stay"
    "$VENV/bin/wickbook" migrate
else
    # The demo is loaded beside and moved into place when it is whole: an interrupted first start
    # begins anew instead of leaving half a plant.
    rm -f "$LOADING" "$LOADING-wal" "$LOADING-shm"
    WICKBOOK_DATABASE_URL="sqlite:///$LOADING"
    export WICKBOOK_DATABASE_URL
    say "Making the database"
    "$VENV/bin/wickbook" migrate
    say "Loading the demo (under a minute)"
    # What it prints are the accounts with passwords made now; its progress goes to the terminal.
    rm -f "$ACCOUNTS"
    (umask 077 && "$VENV/bin/python" -m seed_demo > "$ACCOUNTS") ||
        refuse "The demo could not be loaded; see above."
    rm -f "$DATABASE" "$DATABASE-wal" "$DATABASE-shm"
    [ ! -e "$LOADING-wal" ] || mv "$LOADING-wal" "$DATABASE-wal"
    mv "$LOADING" "$DATABASE"
    rm -f "$LOADING-shm"
    WICKBOOK_DATABASE_URL="sqlite:///$DATABASE"
fi

[ ! -e "$ACCOUNTS" ] || { echo; cat "$ACCOUNTS"; echo; say "The accounts are kept in $ACCOUNTS"; }
say "Serving on http://127.0.0.1:$PORT  (Ctrl-C ends it)"
exec "$VENV/bin/wickbook" serve --port "$PORT"
