package pointdown

import com.google.gson.JsonElement
import com.google.gson.JsonObject
import com.google.gson.JsonParser
import java.io.File
import java.util.Locale
import kotlin.test.assertEquals
import kotlin.test.assertNotNull
import kotlin.test.assertTrue
import org.junit.Rule
import org.junit.Test
import org.junit.rules.TemporaryFolder

/** The vectors that every language runs: the same drafts give the same errors, sheets, lists, labels. */
class VectorsTest {
    @get:Rule
    val folder = TemporaryFolder()

    private val ids = mutableMapOf<String, String>()

    private fun word(of: Enum<*>) = of.name.lowercase()

    private fun fill(value: JsonElement): String =
        ids.entries.fold(value.toString()) { text, (name, id) -> text.replace("\"$$name\"", "\"$id\"") }

    private fun id(value: JsonElement): String = ids.getValue(value.asString.removePrefix("$"))

    private fun told(sheet: Sheet): List<String> {
        val g = sheet.gathered
        val lines = mutableListOf("gathered ${g.eggs} floor ${g.floorLaid}")
        g.byCoop.mapTo(lines) {
            "coop ${it.name} ${word(it.species)} ${it.eggs ?: "unknown"} floor ${it.floorLaid} rounds ${it.rounds} " +
                "known ${it.days.known} zero ${it.days.zero} unknown ${it.days.unknown}"
        }
        val each = listOf(
            "by" to g.byPerson,
            "pulled" to sheet.pulled.byReason,
            "pulled for" to sheet.pulled.byUse,
            "washed" to sheet.washed,
            "candled" to sheet.candled,
            "out" to sheet.out.eggs,
            "out in cartons" to sheet.out.cartons,
        )
        for ((what, all) in each) all.mapTo(lines) { (of, n) -> "$what $of $n" }
        g.bySpecies.mapTo(lines) { (of, n) -> "gathered ${word(of)} $n" }
        sheet.unaccounted.mapTo(lines) { (of, n) -> "unaccounted ${word(of)} $n" }
        sheet.meanGrams.mapTo(lines) { (of, n) -> "mean ${word(of)} " + String.format(Locale.ROOT, "%.2f", n) }
        sheet.cartoned.mapTo(lines) {
            "cartoned ${word(it.species)} [${it.size}] ${it.cartons} of ${it.eggsPerCarton} eggs ${it.eggs}"
        }
        sheet.onHand.mapTo(lines) { here ->
            val lots = here.lots.joinToString(" ") { "${it.lot}=${it.eggs}" }
            "on hand ${word(here.station)} ${word(here.species)} ${here.eggs} $lots"
        }
        return lines.sorted()
    }

    private fun told(choice: Choice) = when (choice) {
        is Choice.Keep -> "keep ${choice.valueJson}"
        is Choice.Void -> "void"
        is Choice.Restore -> "restore"
        Choice.BothRight -> "both_right"
        is Choice.Recount -> "recount"
        is Choice.RecountAll -> "recount_all"
        is Choice.PullHeld -> "pull_held ${choice.cartons.size}"
        is Choice.Shift -> "shift ${choice.byS}"
        is Choice.Retire -> "retire"
        Choice.Seen -> "seen"
    }

    private fun told(finding: Finding): String {
        val what = when (val what = finding.what) {
            is What.HeldEggs ->
                "held_eggs shelf ${what.onShelf.sumOf { it.cartons }} gone ${what.gone.size} certain ${what.certain}"
            is What.Overdraw -> "overdraw ${word(what.place)} ${what.lot} ${what.eggs}"
            is What.CountOvertaken -> "count_overtaken ${what.counted} ${what.then} ${what.now}"
            is What.Breach -> "breach ${what.rule}"
            is What.SameName -> "same_name ${what.name}"
            is What.Misdated -> "misdated ${word(what.how)}"
            else -> what.toString()
        }
        val choices = finding.choices.joinToString { told(it) }
        return "${word(finding.weight)} $what records ${finding.records.size}: $choices"
    }

    private fun told(who: String, t: Taken) =
        "$who ${t.taken} back ${t.paidBack} sales ${t.sales} unpriced ${t.salesWithoutPrice} sold ${t.sold} " +
            "cartons ${t.cartons} given ${t.given} eaten ${t.eaten} returned ${t.returned} dozen ${t.perDozen ?: "unknown"}"

    private fun told(takings: Takings, costs: Costs): List<String> {
        val lines = mutableListOf(told("all", takings.all))
        takings.byOutlet.mapTo(lines) { told(it.who ?: "nobody", it.taken) }
        takings.cartons.mapTo(lines) {
            "carton ${word(it.species)} ${it.eggsPerCarton ?: 0u} [${it.size ?: ""}] ${it.cartons} for ${it.taken} " +
                "mean ${it.mean ?: "unknown"} from ${it.lowest ?: "unknown"} to ${it.highest ?: "unknown"} " +
                "unpriced ${it.withoutPrice}"
        }
        val feed = costs.feed
        lines += "feed ${feed.cost} records ${feed.records} without ${feed.withoutCost} kg ${fixed(2, costs.feedKg)}"
        costs.supplies.mapTo(lines) { (item, spent) ->
            "supply $item ${spent.cost} records ${spent.records} without ${spent.withoutCost}"
        }
        lines += "dozen feed ${costs.feedPerDozen ?: "unknown"} supplies ${costs.suppliesPerDozen ?: "unknown"} " +
            "kg ${fixed(3, costs.feedKgPerDozen ?: 0.0)} of ${costs.gathered} gathered " +
            "unknown ${costs.unknownFlockDays} complete ${costs.complete}"
        return lines
    }

    private fun fixed(places: Int, n: Double) = String.format(Locale.ROOT, "%.${places}f", n)

    private fun told(advice: SinkAdvice): String {
        val degrees = { c: Double? -> c?.let { fixed(1, it) } ?: "none" }
        return "${word(advice.permission)} window ${degrees(advice.window?.lowC)} to ${degrees(advice.window?.highC)} " +
            "temper ${degrees(advice.temperC)} water ${word(advice.verdict)} takes ${advice.capacity?.eggs ?: 0u}: " +
            advice.faults.joinToString { word(it.what) }
    }

    private fun told(found: Stocktake): List<String> =
        found.counted.map {
            val name = when (val of = it.of) {
                is CountOf.OneLot -> of.lot
                is CountOf.Whole -> word(of.species)
            }
            "$name expected ${it.expected} counted ${it.counted} difference ${it.difference} " +
                "explained ${it.explainedBy.size} asks ${it.line != null}"
        } + found.notCounted.map { "not counted ${it.lot}=${it.eggs}" }

    private fun species(word: String) = Species.valueOf(word.uppercase())

    /** What is asked once everything was logged: money, the sink, and a stocktake, which logs. */
    private fun ask(farm: Farm, vector: JsonObject) {
        val all = { part: String -> vector.getAsJsonArray(part).map { it.asJsonObject }.also { assertTrue(it.isNotEmpty()) } }
        for (span in all("takings")) {
            val (first, last) = listOf("first", "last").map { span[it].asString }
            assertEquals(lines(span["lines"]), told(farm.takings(first, last), farm.costs(first, last)))
        }
        for (given in all("sinks")) {
            val means = Means.valueOf(given["means"].asString.uppercase())
            val bowl = Bowl(10.0, 18.0, 0.5, 60.0)
            val sink = Sink(species(given["species"].asString), means, given["egg_c"].asDouble, given["water_c"]?.asDouble, bowl = bowl)
            assertEquals(given["line"].asString, told(checkNotNull(farm.sink(sink))))
        }
        for (stock in all("stocktakes")) {
            val of = { part: String -> stock.getAsJsonObject(part).asMap().mapValues { it.value.asInt.toUInt() } }
            val counts = of("lots").map { (lot, n) -> Count(CountOf.OneLot(lot), n) } +
                of("species").map { (whole, n) -> Count(CountOf.Whole(species(whole)), n) }
            val station = Station.valueOf(stock["station"].asString.uppercase())
            assertEquals(lines(stock["lines"]), told(farm.stocktake(station, counts, stock["at_ms"].asLong)))
        }
    }

    private fun step(farm: Farm, step: JsonObject): Logged {
        val why = step["why"]?.asString
        step["amend"]?.let { return farm.amend(id(it), fill(step["set"]), why) }
        step["void"]?.let { return farm.void(id(it), checkNotNull(why)) }
        val fields = step.getAsJsonObject("log").deepCopy()
        val kind = fields.remove("kind").asString
        val atMs = fields.remove("at_ms")?.asLong
        return farm.put(Event.Other(kind, fill(fields)), atMs)
    }

    private fun text(value: JsonElement): String? = if (value.isJsonNull) null else value.asString

    private fun lines(value: JsonElement) = value.asJsonArray.map { it.asString }

    @Test
    fun theSameDraftsGiveTheSame() {
        val file = File(checkNotNull(System.getenv("POINTDOWN_VECTORS")), "day.json")
        val vector = JsonParser.parseString(file.readText()).asJsonObject
        val given = vector.getAsJsonObject("set_up")
        val words = listOf("name", "zone", "person", "device").map { given[it].asString }
        val setUp = SetUp(words[0], words[1], words[2], words[3], given["more"].toString())
        Farm.begin(File(folder.root, "farm.db").path, setUp).using { farm ->
            val steps = vector.getAsJsonArray("steps").map { it.asJsonObject }
            assertTrue(steps.size > 40)
            for (step in steps) {
                val due = step.getAsJsonObject("fails")
                if (due == null) {
                    val logged = step(farm, step)
                    step["as"]?.let { ids[it.asString] = logged.id }
                    continue
                }
                val e = fails<PointdownException.Invalid> { step(farm, step) }
                val value = e.value?.let { ids.entries.fold(it) { text, (name, id) -> text.replace(id, "$$name") } }
                assertEquals(text(due["kind"]), e.kind)
                assertEquals(listOf("field", "value", "allowed").map { text(due[it]) }, listOf(e.field, value, e.allowed))
            }
            for (sheet in vector.getAsJsonArray("sheets").map { it.asJsonObject }) {
                val found = farm.sheet(sheet["first"].asString, sheet["last"].asString)
                assertEquals(lines(sheet["lines"]), told(found))
            }
            assertEquals(lines(vector["review"]), farm.review().map { told(it) })
            for (label in vector.getAsJsonArray("labels").map { it.asJsonObject }) {
                assertEquals(lines(label["lines"]), farm.label(id(label["carton"])).lines.map { it.text })
            }
            ask(farm, vector)
            assertNotNull(farm.name())
        }
    }
}
