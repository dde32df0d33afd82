package pointdown

import java.io.File
import kotlin.test.assertContains
import kotlin.test.assertEquals
import kotlinx.coroutines.CoroutineStart
import kotlinx.coroutines.async
import kotlinx.coroutines.delay
import kotlinx.coroutines.launch
import kotlinx.coroutines.runBlocking
import kotlinx.coroutines.withTimeout
import org.junit.Rule
import org.junit.Test
import org.junit.rules.TemporaryFolder
import pointdown.guide.answer
import pointdown.guide.counted
import pointdown.guide.firstLine
import pointdown.guide.gather
import pointdown.guide.join
import pointdown.guide.mend
import pointdown.guide.money
import pointdown.guide.nextChange
import pointdown.guide.open
import pointdown.guide.syncNow
import pointdown.guide.takeBack
import pointdown.guide.totals
import pointdown.guide.water

/** The guide's blocks, which are compiled beside this file, do what the page says. */
class GuideTest {
    @get:Rule
    val folder = TemporaryFolder()

    @Test
    fun theGuideDoesWhatItSays() {
        val file = File(folder.root, "farm.db")
        open(file).using { it.put(Event.Coop("Orchard", listOf(Species.HEN))) }
        val server = Server(File(folder.root, "server"))
        open(file).using { farm ->
            runBlocking {
                mend(farm, gather(farm, "Orchard", 17u))
                assertContains(gather(farm, "Orchard", 70_000u), "count is 70000; allowed are")
                assertContains(totals(farm), "Orchard: 18 HEN")
                join(farm, server.url, server.invite())
                assertEquals("0 sent, 0 received", syncNow(farm))
                server.close()
                gather(farm, "Orchard", 2u)
                assertEquals("no signal: 1 wait, nothing is lost", syncNow(farm))
                withTimeout(60_000) {
                    val seen = async(start = CoroutineStart.UNDISPATCHED) { nextChange(farm) }
                    val logging = launch {
                        while (true) {
                            gather(farm, "Orchard", 1u)
                            delay(20)
                        }
                    }
                    assertEquals(1, seen.await().size.coerceAtMost(1))
                    logging.cancel()
                }
            }
            assertContains(water(farm, 20.0, 25.0), "COLD from 32.2")
            assertContains(water(farm, 20.0, 25.0), "WATER_TOO_COLD Hot water scalds")
            val (today, lot) = farm.today().let { it to "$it/hen" }
            assertEquals(-1, counted(farm, lot, (farm.onHand().single().eggs - 1).toUInt()))
            farm.put(Event.Out("sold", listOf(LotEggs(lot, 12)), station = Station.BASKET, price = "4.50"))
            assertEquals("4.50; feed for a dozen: unknown", money(farm, today, today))
            farm.put(Event.Coop("orchard", listOf(Species.HEN)))
            val line = checkNotNull(firstLine(farm) { it is What.SameName })
            val logged = answer(farm, line, 0)
            assertEquals(null, firstLine(farm) { it is What.SameName })
            takeBack(farm, logged)
            assertEquals(line.line, firstLine(farm) { it is What.SameName }?.line)
        }
    }
}
