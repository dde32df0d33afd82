// swift-tools-version:5.9
// `./test.sh` builds the library, writes the generated half and runs the tests. The linker is told
// there where the library lies.

import PackageDescription

let package = Package(
    name: "Pointdown",
    platforms: [.iOS(.v15), .macOS(.v12)],
    products: [.library(name: "Pointdown", targets: ["Pointdown"])],
    targets: [
        .systemLibrary(name: "PointdownFFI"),
        .target(name: "Pointdown", dependencies: ["PointdownFFI"]),
        .testTarget(name: "PointdownTests", dependencies: ["Pointdown"]),
    ]
)
