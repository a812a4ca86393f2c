#!/bin/sh
# Brings the pinned ONNX Runtime library out of its PyPI wheel into
# models/runtime/, once; afterwards it works offline. Both the wheel and the
# library are checked against the SHA-256 sums below.
set -eu

version=1.32.0
here=$(cd "$(dirname "$0")" && pwd)
target="$here/runtime/libonnxruntime.so.$version"

case "$(uname -s)-$(uname -m)" in
Linux-x86_64)
    platform=manylinux_2_28_x86_64
    wheel_sum=5a34fc4dfeb5a7b4a74c95dcba1e773d722abda720b474edf1b0c419dc6d163d
    library_sum=6c1585d1bbf45b0712ea4a21b705c5fcb4ba04ff2e30f1fbf81a49faf658638f
    ;;
Linux-aarch64)
    platform=manylinux_2_28_aarch64
    wheel_sum=2303372a85299b6757b0e11e1cbf13e410ddf7e10c37f4b37e99d1c90e7daf7c
    library_sum=49852228a93995158b2a813d4df487d47a1b76b0eaa894507ef49e91b6d7954a
    ;;
*)
    echo "fetch-runtime: no pinned library for $(uname -s) $(uname -m);" \
        "install ONNX Runtime >= 1.20 and point ORT_DYLIB_PATH at its library" >&2
    exit 1
    ;;
esac

sum_of() { sha256sum "$1" | cut -d' ' -f1; }

if [ -f "$target" ] && [ "$(sum_of "$target")" = "$library_sum" ]; then
    exit 0
fi
if [ -n "${ORT_DYLIB_PATH:-}" ] && [ -f "$ORT_DYLIB_PATH" ]; then
    echo "fetch-runtime: using ORT_DYLIB_PATH=$ORT_DYLIB_PATH" >&2
    exit 0
fi

echo "fetch-runtime: fetching ONNX Runtime $version from PyPI (27 MB, once)" >&2
mkdir -p "$here/runtime"
work=$(mktemp -d "$here/runtime/fetch.XXXXXX")
trap 'rm -rf "$work"' EXIT INT TERM
python3 -m pip download --quiet --disable-pip-version-check --no-deps --only-binary=:all: \
    --implementation cp --python-version 3.11 --abi cp311 --platform "$platform" \
    --dest "$work" "onnxruntime==$version" || {
    echo "fetch-runtime: pip could not download onnxruntime==$version;" \
        "check the network, or set ORT_DYLIB_PATH to a library you have" >&2
    exit 1
}
wheel=$(ls "$work"/*.whl)
if [ "$(sum_of "$wheel")" != "$wheel_sum" ]; then
    echo "fetch-runtime: $wheel does not have the pinned checksum; nothing was installed" >&2
    exit 1
fi
(cd "$work" && python3 -m zipfile -e "$wheel" unpacked)
library="$work/unpacked/onnxruntime/capi/libonnxruntime.so.$version"
if [ "$(sum_of "$library")" != "$library_sum" ]; then
    echo "fetch-runtime: the library does not have the pinned checksum; nothing was installed" >&2
    exit 1
fi
mv "$library" "$target"
echo "fetch-runtime: $target" >&2
