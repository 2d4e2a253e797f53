# Sourced by demo-clips/run and tests/run: what the build needs beside cargo, installed where it is missing.
# Says nothing and asks for nothing when all is there. Needs Debian or Ubuntu, and root or sudo, only when something is missing.

# What the build links against, and the compiler driver that links it.
BUILD_PACKAGES="gcc libc6-dev pkg-config libclang-dev libavcodec-dev libavformat-dev libavutil-dev libswscale-dev"

fail() {
    printf '%s: %s\n' "${0#"$PWD"/}" "$*" >&2
    exit 1
}

# require_cargo: cargo is on PATH, or in the place where rustup puts it.
require_cargo() {
    if ! command -v cargo >/dev/null 2>&1 && [ -x "${HOME:-}/.cargo/bin/cargo" ]; then
        PATH="$HOME/.cargo/bin:$PATH"
    fi
    command -v cargo >/dev/null 2>&1 || fail "cargo not found: install Rust $(rust_version) or newer (https://rustup.rs), then run this again"
}

# rust_version: the oldest Rust that Cargo.toml accepts.
rust_version() {
    sed -n 's/^rust-version = "\(.*\)"/\1/p' Cargo.toml
}

# require_packages NAME...: each Debian package is installed.
require_packages() {
    local missing=() package log as_root=()
    command -v dpkg-query >/dev/null 2>&1 || fail "this is no Debian or Ubuntu: install what these packages hold, then use cargo directly: $*"
    for package in "$@"; do
        dpkg-query -W -f='${db:Status-Status}' "$package" 2>/dev/null | grep -qx installed || missing+=("$package")
    done
    [ ${#missing[@]} -gt 0 ] || return 0
    if [ "$(id -u)" -ne 0 ]; then
        command -v sudo >/dev/null 2>&1 || fail "needs root or sudo to install ${missing[*]}"
        as_root=(sudo)
    fi
    printf 'installing %s\n' "${missing[*]}" >&2
    log=$(mktemp)
    if ! { "${as_root[@]}" apt-get update -q &&
        "${as_root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends "${missing[@]}"; } >"$log" 2>&1; then
        package=$(grep -m 1 '^E:' "$log" || tail -n 1 "$log")
        rm -f "$log"
        fail "could not install ${missing[*]}: $package"
    fi
    rm -f "$log"
}

# axe-core, which the tests run on every page of the browser.
AXE_VERSION=4.14.1
AXE_SHA256=e6b0ce02b84d892e2e33e403485e7f3d6c29e2be6df65daf44d89ba564139745

# require_browser: Chromium, its driver and axe-core are there, and the tests know it. Ubuntu has no such packages: without a
# driver of its own nothing is asked of it.
require_browser() {
    local folder
    # shellcheck disable=SC1091
    if [ "$(. /etc/os-release && printf %s "$ID")" = debian ]; then
        require_packages chromium chromium-driver
    fi
    command -v chromedriver >/dev/null 2>&1 || return 0
    folder=$(cargo metadata --format-version 1 --no-deps --offline | sed 's/.*"target_directory":"\([^"]*\)".*/\1/')/axe-core-$AXE_VERSION
    if [ ! -f "$folder/package/axe.min.js" ]; then
        command -v npm >/dev/null 2>&1 || require_packages nodejs npm
        printf 'fetching axe-core %s\n' "$AXE_VERSION" >&2
        mkdir -p "$folder"
        (cd "$folder" && npm pack --silent "axe-core@$AXE_VERSION" >/dev/null &&
            printf '%s  axe-core-%s.tgz\n' "$AXE_SHA256" "$AXE_VERSION" | sha256sum --check --quiet &&
            tar -xzf "axe-core-$AXE_VERSION.tgz" package/axe.min.js) || fail "could not fetch axe-core $AXE_VERSION"
    fi
    export TWOREACH_BROWSER_REQUIRED=1 TWOREACH_AXE="$folder/package/axe.min.js"
}
