package pointdown

import java.io.File
import java.net.URI
import java.net.http.HttpClient
import java.net.http.HttpRequest
import java.net.http.HttpResponse.BodyHandlers
import kotlin.test.assertEquals
import kotlin.test.assertTrue
import kotlinx.coroutines.async
import kotlinx.coroutines.awaitAll
import kotlinx.coroutines.runBlocking
import org.junit.Rule
import org.junit.Test
import org.junit.rules.TemporaryFolder

/** A whole family's day: three phones with files of their own, and the real server. */
class DayTest {
    @get:Rule
    val folder = TemporaryFolder()

    private fun file(name: String) = File(folder.root, name)

    /** Everyone syncs, all at once, until nobody has anything new. */
    private fun settle(vararg farms: Farm) = runBlocking {
        do {
            val done = farms.map { async { it.synced() } }.awaitAll()
        } while (done.any { it.received + it.sent > 0uL })
    }

    @Test
    fun aFamilysDay() = Server(file("server")).use { server ->
        checkLibrary()
        val marit = begin(file("marit.db"), more = """{"rule_pack":"us_federal","producer":"Larkmeadow, Lark Lane"}""")
        marit.put(Event.Coop("Orchard", listOf(Species.HEN)))
        marit.put(Event.Coop("Pond", listOf(Species.HEN, Species.DUCK)))
        marit.join(server.url, server.invite(), "Marit's phone")
        val (tobin, ines) = listOf("Tobin", "Ines").map { name ->
            Farm.joinNew(file("$name.db").path, marit.invite().link, "", name, "$name's phone")
        }
        settle(marit, tobin, ines)
        val today = marit.today()
        val hens = "$today/hen"

        // Out of reach of one another.
        val first = marit.gather("Orchard", Species.HEN, 17)
        tobin.gather("Pond", Species.DUCK, 8)
        val twin = tobin.gather("Orchard", Species.HEN, 17)
        ines.gather("Pond", Species.HEN, 15)
        assertEquals(1uL, marit.status().waiting)
        assertEquals(17, marit.sheet(today, today).gathered.eggs)
        settle(marit, tobin, ines)
        val sheet = ines.sheet(today, today)
        assertEquals(57, sheet.gathered.eggs)
        assertEquals(mapOf(Species.HEN to 49L, Species.DUCK to 8L), sheet.gathered.bySpecies)
        assertEquals(mapOf("Marit" to 17L, "Tobin" to 25L, "Ines" to 15L), sheet.gathered.byPerson)
        assertEquals(1, listOf(marit, tobin, ines).map { it.sheetHash(today, today) }.toSet().size)

        // One round, logged twice: Ines says so, takes it back, and says it again.
        fun double() = ines.review().single { it.what is What.DoubleLog }
        val line = double()
        assertEquals(What.DoubleLog(17u, 17u), line.what)
        val choice = line.choices.indexOf(Choice.Void(twin)).toUInt()
        val logged = ines.decide(line.tag, choice, null)
        assertEquals(40, ines.sheet(today, today).gathered.eggs)
        ines.undo(logged.map { it.id }, "looked again")
        assertEquals(57, ines.sheet(today, today).gathered.eggs)
        ines.decide(double().tag, choice, null)
        settle(marit, tobin, ines)

        // Two people amend one field apart from each other.
        marit.amend(first, """{"count":18}""", "one was under the straw")
        tobin.amend(first, """{"count":16}""", "one was a stone")
        settle(marit, tobin, ines)
        val apart = marit.review().single { it.what is What.Disagreement }
        val keep = apart.choices.indexOfFirst { it is Choice.Keep && it.valueJson == "18" }
        marit.decide(apart.tag, keep.toUInt(), null)
        settle(marit, tobin, ines)
        assertEquals(41, ines.sheet(today, today).gathered.eggs)

        // From the basket to the customer.
        tobin.put(Event.Wash(listOf(LotEggs(hens, 24)), "spray", eggC = 18.0, waterStartC = 45.0))
        val carton = tobin.put(
            Event.Carton(listOf(LotEggs(hens, 24)), Station.CLEAN, Species.HEN, 12u, 2u, today, code = "P-17"),
        ).id
        tobin.put(
            Event.Out("sold", listOf(LotEggs(hens, 12)), carton = carton, cartons = 1u, to = "Neighbour Roe"),
        )
        assertEquals(listOf("2 cartons, 24 eggs"), tobin.sheet(today, today).cartoned.map { "${it.cartons} cartons, ${it.eggs} eggs" })
        val cartoned = tobin.onHand().single { it.station == Place.CARTONED }
        assertEquals(listOf(LotEggs(hens, 12)), cartoned.lots)
        assertTrue(tobin.now().due.isNotEmpty(), "something is always due where eggs stand")
        assertTrue(tobin.label(carton).lines.any { "12" in it.text && "eggs" in it.text.lowercase() })
        assertTrue("<html" in tobin.labelPage(carton, null, 1u, null).page.html)

        // A hold that was logged elsewhere at the same time: the most urgent line.
        val orchard = ines.find("coop", "Orchard")
        ines.put(Event.Hold(today, "medicine", coop = orchard))
        settle(marit, tobin, ines)
        val held = marit.review().first()
        assertTrue(held.what is What.HeldEggs && held.weight == Weight.URGENT)
        val back = marit.callBack(Question.Coop(today, today, coop = orchard))
        assertEquals(listOf("Neighbour Roe"), back.people.map { it.who })
        assertTrue(back.cautions.isNotEmpty())
        assertEquals(setOf("Orchard", "Pond"), marit.trace("p-17").single().coops.toSet())
        marit.put(Event.Headcount("Orchard", Species.HEN, 24u))
        val laid = marit.span(today, today, null).byDay.single().flocks.single { it.coop == orchard }
        assertEquals(18L to 24u, laid.eggs to laid.birds)
        assertEquals(18L, marit.trends(today, today, Step.DAY, orchard).flocks.single().spans.single().eggs)

        // A backup is a whole farm.
        settle(marit, tobin, ines)
        val backup = marit.backUp(file("safe.db").path)
        assertEquals(backup.records, verifyBackup(file("safe.db").path).records)
        restore(file("safe.db").path, file("again.db").path)
        Farm.open(file("again.db").path).using {
            assertEquals(marit.sheetHash(today, today), it.sheetHash(today, today))
        }
        for (farm in listOf(marit, tobin, ines)) {
            farm.using {
                assertEquals(emptyList(), it.check().wrong)
                assertEquals(0uL to emptyList(), it.status().waiting to it.status().refused)
            }
        }
    }

    @Test
    fun theAppCarriesTheBytes() = Server(file("server")).use { server ->
        val http = HttpClient.newHttpClient()
        fun post(path: String, type: String, body: ByteArray, token: String? = null): ByteArray {
            val ask = HttpRequest.newBuilder(URI(server.url + path)).header("content-type", type)
            token?.let { ask.header("authorization", "Bearer $it") }
            val answer = http.send(ask.POST(HttpRequest.BodyPublishers.ofByteArray(body)).build(), BodyHandlers.ofByteArray())
            assertEquals(200, answer.statusCode(), String(answer.body()))
            return answer.body()
        }
        begin(file("marit.db")).using { marit ->
            marit.put(Event.Coop("Orchard", listOf(Species.HEN)))
            marit.gather("Orchard", Species.HEN, 5)
            val answer = String(post("/v1/join", "application/json", marit.joinAsk(server.invite(), "phone").toByteArray()))
            marit.joined(server.url, Regex("\"token\":\"([0-9a-f]+)\"").find(answer)!!.groupValues[1])
            val carrier = checkNotNull(marit.carrier())
            do {
                val heard = marit.syncHear(post("/v1/sync", "application/cbor", marit.syncAsk(), carrier.token))
            } while (heard.again)
            marit.tidy()
            assertTrue(marit.status().agreed)
            assertEquals(0uL, marit.status().waiting)
        }
    }
}
