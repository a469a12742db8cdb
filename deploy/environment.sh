# What demo.sh and test.sh share: finding Python, making .venv, installing what pyproject.toml pins.
# Sourced from the project's folder; POSIX sh.

VENV=.venv

say() { printf '%s %s\n' "--" "$*"; }

# Ends the script with a sentence that says what to do.
refuse() {
    printf '\n%s %s\n' "!!" "$*" >&2
    exit 1
}

is_root() { [ "$(id -u)" -eq 0 ]; }

# Prints the first Python that is new enough and can make environments.
find_python() {
    lacking=""
    for candidate in python3 python3.11 python3.12 python3.13 python3.14; do
        version=$("$candidate" -c 'import sys
print("%d.%d" % sys.version_info[:2]) if sys.version_info >= (3, 11) else sys.exit(1)' \
            2>/dev/null) || continue
        if "$candidate" -c 'import ensurepip, venv' 2>/dev/null; then
            echo "$candidate"
            return 0
        fi
        lacking=${lacking:-$version}
    done
    if [ -n "$lacking" ]; then
        refuse "Python $lacking is here without its venv module. Install it, then start again:
   apt-get install python$lacking-venv"
    fi
    refuse "Python 3.11 or newer is needed and none was found. Install it, then start again:
   apt-get install python3 python3-venv
   (Debian 12, Ubuntu 24.04 and later bring one that is new enough.)"
}

make_environment() {
    if "$VENV/bin/python" -c 'import pip' 2>/dev/null; then
        return 0
    fi
    python=$(find_python) || exit 1
    say "Making the environment in $VENV with $("$python" --version)"
    "$python" -m venv --clear "$VENV" || refuse "The environment could not be made; see above."
}

# install_once NAME ARGUMENT...: pip installs, unless the same pyproject.toml was installed already.
install_once() {
    stamp="$VENV/installed-$1"
    shift
    wanted="$(cksum < pyproject.toml) in $(pwd -P)"
    if [ "$(cat "$stamp" 2>/dev/null)" = "$wanted" ]; then
        return 0
    fi
    say "Installing what pyproject.toml pins (a minute or two, once)"
    rm -f "$stamp"
    # A pipe has the status of its last command alone: failure leaves a mark.
    install_failed="$VENV/install-failed"
    rm -f "$install_failed"
    { "$VENV/bin/python" -m pip install --disable-pip-version-check --no-input \
        --root-user-action=ignore "$@" || : > "$install_failed"; } |
        sed -n 's/^Collecting \([^ ]*\).*/   \1/p'
    [ ! -e "$install_failed" ] || refuse "The installation failed; see above. A connection to the package index is needed once."
    echo "$wanted" > "$stamp"
}

# Installs Wickbook alone.
prepare_to_serve() {
    make_environment
    install_once wickbook --editable .
}

# Installs Wickbook and the tools of its tests.
prepare_to_test() {
    make_environment
    "$VENV/bin/python" -c 'import tomllib
with open("pyproject.toml", "rb") as file:
    print("\n".join(tomllib.load(file)["dependency-groups"]["dev"]))' > "$VENV/dev.txt" ||
        refuse "pyproject.toml could not be read."
    install_once tests --editable . --requirement "$VENV/dev.txt"
}
