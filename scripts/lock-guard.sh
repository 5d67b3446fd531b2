#!/usr/bin/env bash
# The locks must serve everyone: no address, index or path of one machine, and a hash for every package.
set -euo pipefail
cd "$(dirname "$0")/.."
locks=(requirements/{boot,run,dev}.txt)

if grep -nE '://|^ *--(index|extra|find|trusted)' "${locks[@]}"; then
    echo "lock guard: the lines above name one machine's package index; remake the locks with scripts/lock.sh" >&2
    exit 1
fi
for lock in "${locks[@]}"; do
    if ! grep -q -- '--hash=sha256:' "$lock" || grep -nE '^[A-Za-z0-9].*[^\\]$' "$lock"; then
        echo "lock guard: $lock is empty or names a package without a hash; remake it with scripts/lock.sh" >&2
        exit 1
    fi
done
echo "lock guard: every package has its hash, and no address is named"
