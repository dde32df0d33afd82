#!/usr/bin/env bash
# Builds the library for Android by cargo-ndk, writes the generated half, and makes the AAR. Needs NDK
# 28 or later (ANDROID_NDK_HOME), cargo-ndk, the Rust targets named below, and Gradle.
# NOT RUN where this was written: there is no NDK there.
set -euo pipefail
cd "$(dirname "$0")"
root=../../../..
# For older NDKs too; the linker takes the larger of both.
export RUSTFLAGS="${RUSTFLAGS:-} -C link-arg=-Wl,-z,max-page-size=16384"
cargo ndk --platform 26 -t arm64-v8a -t armeabi-v7a -t x86 -t x86_64 -o src/main/jniLibs \
    rustc --locked --profile native --package pointdown-native --lib --crate-type cdylib
# The generator reads a library for this very machine: the one for phones may be stripped.
unset RUSTFLAGS
cargo build --locked --package pointdown-native --lib
cargo build --locked --release --manifest-path ../../bindgen/Cargo.toml --target-dir "$root/target/bindgen"
library=$(ls "$root"/target/debug/libpointdown_native.{so,dylib} 2>/dev/null | head -1)
"$root/target/bindgen/release/uniffi-bindgen" generate --config ../../bindgen.toml --no-format \
    --language kotlin --out-dir src/main/kotlin "$library"
for so in src/main/jniLibs/*64*/*.so; do
    # Every segment that is loaded must be aligned to 16 KB.
    readelf -lW "$so" | awk '/LOAD/ && strtonum($NF) < 16384 { bad = 1 } END { exit bad }' \
        || { echo "$so is not aligned to 16 KB" >&2; exit 1; }
done
gradle assembleRelease
