#!/bin/sh
# Takes one photo of a cup out of the pinned scikit-image wheel on PyPI, once.
# It is used by the tests and never committed.
set -eu

target=$1
version=0.26.0
photo_sum=cc02f8ca188b167c775a7101b5d767d1e71792cf762c33d6fa15a4599b5a8de7

sum_of() { sha256sum "$1" | cut -d' ' -f1; }

if [ -f "$target" ] && [ "$(sum_of "$target")" = "$photo_sum" ]; then
    exit 0
fi
folder=$(dirname "$target")
mkdir -p "$folder"
work=$(mktemp -d "$folder/fetch.XXXXXX")
trap 'rm -rf "$work"' EXIT INT TERM
echo "fetch-coffee: fetching scikit-image $version from PyPI (once)" >&2
python3 -m pip download --quiet --disable-pip-version-check --no-deps --only-binary=:all: \
    --implementation cp --python-version 3.11 --abi cp311 --platform manylinux_2_28_x86_64 \
    --platform manylinux_2_24_x86_64 --platform manylinux2014_x86_64 \
    --dest "$work" "scikit-image==$version" || {
    echo "fetch-coffee: pip could not download scikit-image==$version; check the network" >&2
    exit 1
}
(cd "$work" && python3 -m zipfile -e ./*.whl unpacked)
found="$work/unpacked/skimage/data/coffee.png"
if [ "$(sum_of "$found")" != "$photo_sum" ]; then
    echo "fetch-coffee: the photo does not have the pinned checksum" >&2
    exit 1
fi
mv "$found" "$target"
