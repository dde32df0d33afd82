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

    /// A word as records have it: `waterTooCold` is `water_too_cold`.
    private func word(_ of: Any) -> String {
        "\(of)".reduce(into: "") { $0 += $1.isUppercase ? "_" + $1.lowercased() : String($1) }
    }

    private func told(_ who: String, _ t: Taken) -> String {
        "\(who) \(t.taken) back \(t.paidBack) sales \(t.sales) unpriced \(t.salesWithoutPrice) "
            + "sold \(t.sold) cartons \(t.cartons) given \(t.given) eaten \(t.eaten) "
            + "returned \(t.returned) dozen \(t.perDozen ?? "unknown")"
    }

    private func told(_ takings: Takings, _ costs: Costs) -> [String] {
        var lines = [told("all", takings.all)]
        for one in takings.byOutlet {
            lines.append(told(one.who ?? "nobody", one.taken))
        }
        for kind in takings.cartons {
            let (mean, lowest) = (kind.mean ?? "unknown", kind.lowest ?? "unknown")
            lines.append(
                "carton \(kind.species) \(kind.eggsPerCarton ?? 0) [\(kind.size ?? "")] \(kind.cartons) "
                    + "for \(kind.taken) mean \(mean) from \(lowest) "
                    + "to \(kind.highest ?? "unknown") unpriced \(kind.withoutPrice)")
        }
        let kg = String(format: "%.2f", costs.feedKg)
        let feed = costs.feed
        lines.append("feed \(feed.cost) records \(feed.records) without \(feed.withoutCost) kg \(kg)")
        for (item, spent) in costs.supplies {
            lines.append(
                "supply \(item) \(spent.cost) records \(spent.records) without \(spent.withoutCost)")
        }
        let each = String(format: "%.3f", costs.feedKgPerDozen ?? 0)
        lines.append(
            "dozen feed \(costs.feedPerDozen ?? "unknown") "
                + "supplies \(costs.suppliesPerDozen ?? "unknown") kg \(each) of \(costs.gathered) "
                + "gathered unknown \(costs.unknownFlockDays) complete \(costs.complete)")
        return lines
    }

    private func told(_ advice: SinkAdvice) -> String {
        let degrees = { (c: Double?) in c.map { String(format: "%.1f", $0) } ?? "none" }
        let (low, high) = (degrees(advice.window?.lowC), degrees(advice.window?.highC))
        let faults = advice.faults.map { word($0.what) }.joined(separator: ", ")
        return "\(word(advice.permission)) window \(low) to \(high) temper \(degrees(advice.temperC)) "
            + "water \(advice.verdict) takes \(advice.capacity?.eggs ?? 0): \(faults)"
    }

    private func told(_ found: Stocktake) -> [String] {
        let counted = found.counted.map { (count: Counted) -> String in
            let name: String
            switch count.of {
            case .oneLot(let lot): name = lot
            case .whole(let species): name = "\(species)"
            }
            return "\(name) expected \(count.expected) counted \(count.counted) "
                + "difference \(count.difference) explained \(count.explainedBy.count) "
                + "asks \(count.line != nil)"
        }
        return counted + found.notCounted.map { "not counted \($0.lot)=\($0.eggs)" }
    }

    private func species(_ word: String) throws -> Species {
        let all: [String: Species] = ["hen": .hen, "duck": .duck]
        return try XCTUnwrap(all[word])
    }

    /// What is asked once everything was logged: money, the sink, and a stocktake, which logs.
    private func ask(_ farm: Farm, _ vector: Object) throws {
        for span in try objects(vector["takings"]) {
            let (first, last) = (try text(span["first"]), try text(span["last"]))
            let takings = try farm.takings(first: first, last: last)
            let costs = try farm.costs(first: first, last: last)
            XCTAssertEqual(told(takings, costs), try lines(span["lines"]))
        }
        let means: [String: Means] = ["spray": .spray, "sponge": .sponge, "basin": .basin]
        for given in try objects(vector["sinks"]) {
            let sink = Sink(
                species: try species(try text(given["species"])),
                means: try XCTUnwrap(means[try text(given["means"])]),
                eggC: try XCTUnwrap(given["egg_c"] as? NSNumber).doubleValue,
                waterC: (given["water_c"] as? NSNumber)?.doubleValue,
                bowl: Bowl(litres: 10, roomC: 18, eachMinutes: 0.5, eggGrams: 60))
            let advice = try XCTUnwrap(try farm.sink(sink: sink))
            XCTAssertEqual(told(advice), try text(given["line"]))
        }
        for stock in try objects(vector["stocktakes"]) {
            var counts: [Count] = []
            for (lot, n) in try object(stock["lots"]) {
                let eggs = try XCTUnwrap(n as? NSNumber).uint32Value
                counts.append(Count(of: .oneLot(lot: lot), eggs: eggs))
            }
            for (whole, n) in try object(stock["species"]) {
                let eggs = try XCTUnwrap(n as? NSNumber).uint32Value
                counts.append(Count(of: .whole(species: try species(whole)), eggs: eggs))
            }
            XCTAssertEqual(try text(stock["station"]), "basket")
            let at = (stock["at_ms"] as? NSNumber)?.int64Value
            let found = try farm.stocktake(station: .basket, counts: counts, atMs: at)
            XCTAssertEqual(told(found), try lines(stock["lines"]))
        }
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
        try ask(farm, vector)
    }
}
