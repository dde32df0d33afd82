import Foundation
import Pointdown
import XCTest

/// The vectors that every language runs: the same drafts give the same errors, sheets, lists, labels.
final class VectorsTests: XCTestCase {
    private typealias Object = [String: Any]

    private var ids: [String: String] = [:]

    private func object(_ value: Any?) throws -> Object { try XCTUnwrap(value as? Object) }

    private func objects(_ value: Any?) throws -> [Object] { try XCTUnwrap(value as? [Object]) }

    private func text(_ value: Any?) throws -> String { try XCTUnwrap(value as? String) }

    private func lines(_ value: Any?) throws -> [String] { try XCTUnwrap(value as? [String]) }

    private func id(_ value: Any?) throws -> String {
        try XCTUnwrap(ids[String(try text(value).dropFirst())])
    }

    private func fill(_ value: Object) throws -> String {
        let data = try JSONSerialization.data(withJSONObject: value, options: [.withoutEscapingSlashes])
        return ids.reduce(String(decoding: data, as: UTF8.self)) { text, named in
            text.replacingOccurrences(of: "\"$\(named.key)\"", with: "\"\(named.value)\"")
        }
    }

    private func told(_ sheet: Sheet) -> [String] {
        let g = sheet.gathered
        var lines = ["gathered \(g.eggs) floor \(g.floorLaid)"]
        for row in g.byCoop {
            let eggs = row.eggs.map { String($0) } ?? "unknown"
            lines.append(
                "coop \(row.name) \(row.species) \(eggs) floor \(row.floorLaid) rounds \(row.rounds) "
                    + "known \(row.days.known) zero \(row.days.zero) unknown \(row.days.unknown)")
        }
        let tallies: [(String, [String: Int64])] = [
            ("by", g.byPerson), ("pulled", sheet.pulled.byReason), ("pulled for", sheet.pulled.byUse),
            ("washed", sheet.washed), ("candled", sheet.candled), ("out", sheet.out.eggs),
            ("out in cartons", sheet.out.cartons),
        ]
        for (what, all) in tallies {
            for (word, n) in all {
                lines.append("\(what) \(word) \(n)")
            }
        }
        for (species, n) in g.bySpecies {
            lines.append("gathered \(species) \(n)")
        }
        for (species, n) in sheet.unaccounted {
            lines.append("unaccounted \(species) \(n)")
        }
        for (species, grams) in sheet.meanGrams {
            let shown = String(format: "%.2f", grams)
            lines.append("mean \(species) \(shown)")
        }
        for c in sheet.cartoned {
            lines.append(
                "cartoned \(c.species) [\(c.size)] \(c.cartons) of \(c.eggsPerCarton) eggs \(c.eggs)")
        }
        for here in sheet.onHand {
            let lots = here.lots.map { "\($0.lot)=\($0.eggs)" }.joined(separator: " ")
            lines.append("on hand \(here.station) \(here.species) \(here.eggs) \(lots)")
        }
        return lines.sorted()
    }

    private func told(_ choice: Choice) -> String {
        switch choice {
        case .keep(_, _, let value): return "keep \(value)"
        case .void: return "void"
        case .restore: return "restore"
        case .bothRight: return "both_right"
        case .recount: return "recount"
        case .recountAll: return "recount_all"
        case .pullHeld(let cartons): return "pull_held \(cartons.count)"
        case .shift(_, let seconds): return "shift \(seconds)"
        case .retire: return "retire"
        case .seen: return "seen"
        }
    }

    private func told(_ finding: Finding) -> String {
        let what: String
        switch finding.what {
        case .heldEggs(let onShelf, let gone, let certain):
            let shelf = onShelf.reduce(0) { $0 + $1.cartons }
            what = "held_eggs shelf \(shelf) gone \(gone.count) certain \(certain)"
        case .overdraw(let place, let lot, let eggs): what = "overdraw \(place) \(lot) \(eggs)"
        case .countOvertaken(let counted, let then, let now):
            what = "count_overtaken \(counted) \(then) \(now)"
        case .breach(let rule, _): what = "breach \(rule)"
        case .sameName(let name): what = "same_name \(name)"
        default: what = "\(finding.what)"
        }
        let choices = finding.choices.map { told($0) }.joined(separator: ", ")
        return "\(finding.weight) \(what) records \(finding.records.count): \(choices)"
    }

    private func carryOut(_ step: Object, on farm: Farm) throws -> Logged {
        if let target = step["amend"] {
            let set = try fill(try object(step["set"]))
            return try farm.amend(record: try id(target), setJson: set, why: step["why"] as? String)
        }
        if let target = step["void"] {
            return try farm.void(record: try id(target), why: try text(step["why"]))
        }
        var fields = try object(step["log"])
        let kind = try text(fields.removeValue(forKey: "kind"))
        let atMs = (fields.removeValue(forKey: "at_ms") as? NSNumber)?.int64Value
        let event = Event.other(kind: kind, fieldsJson: try fill(fields))
        return try farm.log(draft: Draft(event: event, atMs: atMs))
    }

    func testTheSameDraftsGiveTheSame() throws {
        let file = try XCTUnwrap(ProcessInfo.processInfo.environment["POINTDOWN_VECTORS"]) + "/day.json"
        let data = try Data(contentsOf: URL(fileURLWithPath: file))
        let vector = try object(try JSONSerialization.jsonObject(with: data))
        let given = try object(vector["set_up"])
        let folder = FileManager.default.temporaryDirectory.appendingPathComponent(UUID().uuidString)
        try FileManager.default.createDirectory(at: folder, withIntermediateDirectories: true)
        defer { try? FileManager.default.removeItem(at: folder) }
        let setUp = SetUp(
            name: try text(given["name"]), zone: try text(given["zone"]),
            person: try text(given["person"]), device: try text(given["device"]),
            moreJson: try fill(try object(given["more"])))
        let farm = try Farm.begin(path: folder.appendingPathComponent("farm.db").path, setUp: setUp)
        defer { farm.shutDown() }
        for step in try objects(vector["steps"]) {
            guard let due = step["fails"] as? Object else {
                let logged = try carryOut(step, on: farm)
                if let name = step["as"] as? String { ids[name] = logged.id }
                continue
            }
            XCTAssertThrowsError(try carryOut(step, on: farm)) { error in
                guard case PointdownError.Invalid(_, let field, let value, let allowed) = error else {
                    return XCTFail("\(error)")
                }
                let shown = value.map { value in
                    ids.reduce(value) { $0.replacingOccurrences(of: $1.value, with: "$" + $1.key) }
                }
                XCTAssertEqual(field, due["field"] as? String)
                // Foundation writes a number such as 61.0 without its point.
                if shown?.contains(".") == false { XCTAssertEqual(shown, due["value"] as? String) }
                XCTAssertEqual(allowed, due["allowed"] as? String)
            }
        }
        for sheet in try objects(vector["sheets"]) {
            let found = try farm.sheet(first: try text(sheet["first"]), last: try text(sheet["last"]))
            XCTAssertEqual(told(found), try lines(sheet["lines"]))
        }
        XCTAssertEqual(try farm.review().map { told($0) }, try lines(vector["review"]))
        for label in try objects(vector["labels"]) {
            let printed = try farm.label(carton: try id(label["carton"]))
            XCTAssertEqual(printed.lines.map { $0.text }, try lines(label["lines"]))
        }
    }
}
