#!/usr/bin/env bash
# Remake the three hashed locks in requirements/ from pyproject.toml: boot (to install), run (to use), dev (to work on).
# They hold for every platform and Python from 3.11 on, name no package index, and are read by uv and pip alike.
#   scripts/lock.sh              newest releases that pyproject.toml allows
#   UV=path/to/uv scripts/lock.sh
set -euo pipefail
cd "$(dirname "$0")/.."
uv=${UV:-$(command -v uv || echo .venv/bin/uv)}

lock() {  # lock NAME WHAT... -> requirements/NAME.txt
    local name=$1; shift
    "$uv" pip compile "$@" --universal --python-version 3.11 --generate-hashes --upgrade --no-config \
        --no-header --no-annotate --quiet --output-file "requirements/$name.txt"
}

mkdir -p requirements
lock boot --group boot
lock run pyproject.toml
lock dev pyproject.toml --group test --group check --group docs
scripts/lock-guard.sh
