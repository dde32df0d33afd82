#!/usr/bin/env bash
# Builds the library, writes the generated half, starts a server and runs the Swift tests. Needs a Swift
# toolchain (5.9 or later) and Rust; works on Linux and macOS with no outside package.
set -euo pipefail
cd "$(dirname "$0")"
target=../../../target
command -v swift >/dev/null || { echo "no Swift toolchain is here: nothing was tested" >&2; exit 3; }
cargo build --locked --package pointdown-native --lib
cargo build --locked --package pointdown-server --bin pointdown-server
CARGO_TARGET_DIR=$target/bindgen cargo build --locked --release --manifest-path ../bindgen/Cargo.toml
library=$(ls "$target"/debug/libpointdown_native.{so,dylib} 2>/dev/null | head -1)
out=$(mktemp -d)
"$target/bindgen/release/uniffi-bindgen" generate --config ../bindgen.toml --no-format \
    --language swift --out-dir "$out" "$library"
cp "$out/PointdownFFI.h" Sources/PointdownFFI/
cp "$out/Pointdown.swift" Sources/Pointdown/
mkdir "$out/server"
NO_COLOR=1 RUST_LOG=info "$target/debug/pointdown-server" --listen 127.0.0.1:0 \
    --data "$out/server" 2>"$out/log" &
server=$!
trap 'kill $server; rm -rf "$out"' EXIT
for _ in $(seq 100); do
    address=$(sed -n 's/.*serving address=//p' "$out/log" | head -1)
    [ -n "$address" ] && break
    sleep 0.1
done
export POINTDOWN_VECTORS="$PWD/../vectors"
export POINTDOWN_URL="http://$address"
POINTDOWN_INVITE=$("$target/debug/pointdown-server" invite --data "$out/server")
export POINTDOWN_INVITE
export LD_LIBRARY_PATH="$PWD/$target/debug" DYLD_LIBRARY_PATH="$PWD/$target/debug"
swift test -Xlinker "-L$PWD/$target/debug" "$@"
