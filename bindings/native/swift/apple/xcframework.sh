#!/usr/bin/env bash
# Makes Pointdown.xcframework for iOS and its simulator. Needs macOS with Xcode and the Rust targets
# named below. NOT RUN where this was written: there is no Xcode there.
set -euo pipefail
cd "$(dirname "$0")/.."
export IPHONEOS_DEPLOYMENT_TARGET=15.0
for target in aarch64-apple-ios aarch64-apple-ios-sim; do
    cargo build --locked --release --package pointdown-native --lib --target "$target"
done
target=../../../target
# The module map in a folder of its own: two frameworks of one app would collide otherwise.
rm -rf build && mkdir -p build/headers/PointdownFFI
cp Sources/PointdownFFI/PointdownFFI.h Sources/PointdownFFI/module.modulemap build/headers/PointdownFFI/
xcodebuild -create-xcframework \
    -library "$target/aarch64-apple-ios/release/libpointdown_native.a" -headers build/headers \
    -library "$target/aarch64-apple-ios-sim/release/libpointdown_native.a" -headers build/headers \
    -output build/Pointdown.xcframework
