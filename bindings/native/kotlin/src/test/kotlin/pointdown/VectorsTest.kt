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
            assertNotNull(farm.name())
        }
    }
}
