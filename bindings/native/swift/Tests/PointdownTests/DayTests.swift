import Foundation
import Pointdown
import XCTest

/// A whole family's day: three phones with files of their own, and the real server that `test.sh`
/// started.
final class DayTests: XCTestCase {
    private var folder = URL(fileURLWithPath: "/")

    override func setUpWithError() throws {
        folder = FileManager.default.temporaryDirectory.appendingPathComponent(UUID().uuidString)
        try FileManager.default.createDirectory(at: folder, withIntermediateDirectories: true)
    }

    override func tearDownWithError() throws {
        try FileManager.default.removeItem(at: folder)
    }

    private func file(_ name: String) -> String {
        folder.appendingPathComponent(name).path
    }

    private func begin(_ name: String) throws -> Farm {
        let setUp = SetUp(
            name: "Larkmeadow", zone: "Europe/Dublin", person: "Marit", device: "Marit's phone",
            moreJson: nil)
        return try Farm.begin(path: file(name), setUp: setUp)
    }

    @discardableResult
    private func gather(_ farm: Farm, _ coop: String, _ species: Species, _ count: UInt32) throws -> String {
        try farm.log(draft: Draft(event: .gather(coop: coop, species: species, count: count))).id
    }

    private func settle(_ farms: [Farm]) throws {
        var new: UInt64 = 1
        while new > 0 {
            new = try farms.reduce(0) { sum, farm in try sum + farm.sync(cancel: nil).received }
        }
    }

    func testAFamilysDay() throws {
        let env = ProcessInfo.processInfo.environment
        let url = try XCTUnwrap(env["POINTDOWN_URL"], "run ./test.sh, which starts a server")
        let code = try XCTUnwrap(env["POINTDOWN_INVITE"])
        checkLibrary()
        let marit = try begin("marit.db")
        _ = try marit.log(draft: Draft(event: .coop(name: "Orchard", species: [.hen])))
        _ = try marit.log(draft: Draft(event: .coop(name: "Pond", species: [.hen, .duck])))
        _ = try marit.join(url: url, code: code, device: "Marit's phone")
        let others = try ["Tobin", "Ines"].map { name in
            try Farm.joinNew(
                path: file("\(name).db"), url: try marit.invite().link, code: "", person: name,
                device: "\(name)'s phone")
        }
        let (tobin, ines) = (others[0], others[1])
        try settle([marit, tobin, ines])
        let today = try marit.today()

        let first = try gather(marit, "Orchard", .hen, 17)
        try gather(tobin, "Pond", .duck, 8)
        let twin = try gather(tobin, "Orchard", .hen, 17)
        try gather(ines, "Pond", .hen, 15)
        XCTAssertEqual(try marit.sheet(first: today, last: today).gathered.eggs, 17)
        try settle([marit, tobin, ines])
        let sheet = try ines.sheet(first: today, last: today)
        XCTAssertEqual(sheet.gathered.eggs, 57)
        XCTAssertEqual(sheet.gathered.bySpecies, [.hen: 49, .duck: 8])
        XCTAssertEqual(sheet.gathered.byPerson, ["Marit": 17, "Tobin": 25, "Ines": 15])

        // One round, logged twice.
        let line = try XCTUnwrap(
            try ines.review().first { finding in
                if case .doubleLog = finding.what { return true } else { return false }
            })
        XCTAssertEqual(Set(line.records), [first, twin])
        let choice = try XCTUnwrap(line.choices.firstIndex(of: .void(record: twin)))
        let logged = try ines.decide(tag: line.tag, choice: UInt32(choice), counted: nil)
        XCTAssertEqual(try ines.sheet(first: today, last: today).gathered.eggs, 40)
        _ = try ines.undo(records: logged.map { $0.id }, why: "looked again")
        XCTAssertEqual(try ines.sheet(first: today, last: today).gathered.eggs, 57)

        try settle([marit, tobin, ines])
        let hashes = try [marit, tobin, ines].map { try $0.sheetHash(first: today, last: today) }
        XCTAssertEqual(Set(hashes).count, 1)
        for farm in [marit, tobin, ines] {
            try farm.using { XCTAssertEqual(try $0.check().wrong, []) }
        }
    }

    func testErrorsAreTyped() throws {
        let farm = try begin("a.db")
        _ = try farm.log(draft: Draft(event: .coop(name: "Orchard", species: [.hen])))
        XCTAssertThrowsError(try gather(farm, "Orchard", .hen, 70_000)) { error in
            guard case PointdownError.Invalid(_, let field, let value, let allowed) = error else {
                return XCTFail("\(error)")
            }
            XCTAssertEqual(field, "count")
            XCTAssertEqual(value, "70000")
            XCTAssertNotNil(allowed)
        }
        XCTAssertThrowsError(try Farm.open(path: file("none.db"))) { error in
            XCTAssertEqual((error as? PointdownError)?.kind, "not_found")
        }
        farm.shutDown()
        XCTAssertThrowsError(try farm.today()) { error in
            XCTAssertEqual((error as? PointdownError)?.kind, "closed")
        }
    }

    func testChangesAreAStream() async throws {
        let farm = try begin("a.db")
        _ = try farm.log(draft: Draft(event: .coop(name: "Orchard", species: [.hen])))
        let changes = try farm.changes()
        let id = try gather(farm, "Orchard", .hen, 3)
        for await batch in changes {
            XCTAssertEqual(batch.map { $0.record }, [id])
            break
        }
        farm.shutDown()
    }

    func testATaskStopsItsExchange() async throws {
        let farm = try begin("a.db")
        // An address of the block for documentation (RFC 5737): nobody ever answers there.
        try farm.joined(url: "http://192.0.2.1:9", token: String(repeating: "ab", count: 32))
        let task = Task { try await farm.synced() }
        task.cancel()
        do {
            _ = try await task.value
            XCTFail("it went on")
        } catch let error as PointdownError {
            XCTAssertEqual(error.kind, "cancelled")
        }
        farm.shutDown()
    }
}
