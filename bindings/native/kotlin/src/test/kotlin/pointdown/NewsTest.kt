package pointdown

import java.io.File
import java.net.InetAddress
import java.net.ServerSocket
import kotlin.test.assertEquals
import kotlin.test.assertFailsWith
import kotlin.test.assertTrue
import kotlinx.coroutines.Dispatchers
import kotlinx.coroutines.TimeoutCancellationException
import kotlinx.coroutines.flow.first
import kotlinx.coroutines.flow.onEach
import kotlinx.coroutines.flow.take
import kotlinx.coroutines.flow.toList
import kotlinx.coroutines.launch
import kotlinx.coroutines.runBlocking
import kotlinx.coroutines.withContext
import kotlinx.coroutines.withTimeout
import org.junit.Rule
import org.junit.Test
import org.junit.rules.TemporaryFolder

/** A small signal and a batched pull, cancellation, and that nothing leaks. */
class NewsTest {
    @get:Rule
    val folder = TemporaryFolder()

    private fun orchard() = begin(File(folder.root, "a.db")).also { it.put(Event.Coop("Orchard", listOf(Species.HEN))) }

    private class Count : Listener {
        @Volatile
        var rung = 0

        override fun newer() {
            rung++
        }
    }

    /** A household's table of rounds, one a day. */
    private fun table(rows: Int): ByteArray {
        val days = generateSequence(java.time.LocalDate.of(2001, 1, 1)) { it.plusDays(1) }
        return days.take(rows).withIndex().joinToString("\n", "date,coop,eggs\n") { (n, day) -> "$day,Orchard,${n % 30}" }.toByteArray()
    }

    @Test
    fun tenThousandNoticesComeInBatchesAfterFewSignals(): Unit = orchard().using { farm ->
        // 9,000 days since 2001 are all in the past.
        val rows = 5_000
        val count = Count()
        farm.watch(count)
        var after = farm.news(0u, 16_384u).after
        var read = 0
        // Logged once each, then each amended: ten thousand notices.
        assertEquals(rows.toULong(), farm.importTable(table(rows), "date=date,coop=coop,eggs=eggs", false).added)
        val half = farm.exportFile()
        val other = Farm.fromExport(File(folder.root, "b.db").path, half)
        other.using {
            for (source in listOf(farm, it)) {
                var from = if (source === farm) after else 0uL
                do {
                    val news = source.news(from, 256u)
                    assertTrue(!news.missed && news.notices.size <= 256)
                    assertEquals(news.notices.map { n -> n.number }, news.notices.indices.map { i -> from + 1u + i.toULong() })
                    from = news.after
                    read += news.notices.size
                } while (news.more)
            }
        }
        assertTrue(read >= 2 * rows, "$read notices")
        assertEquals(1, count.rung)
    }

    @Test
    fun aFlowOfChangesEndsWithItsCollector(): Unit = orchard().using { farm ->
        runBlocking {
            withTimeout(60_000) {
                val logging = launch(Dispatchers.IO) {
                    while (true) {
                        farm.gather("Orchard", Species.HEN, 3)
                        kotlinx.coroutines.delay(5)
                    }
                }
                val batches = farm.changes().take(3).toList()
                assertTrue(batches.all { it.isNotEmpty() && it.all { notice -> notice.here } })
                logging.cancel()
            }
        }
    }

    @Test
    fun cancellingACoroutineStopsItsExchange(): Unit = orchard().using { farm ->
        ServerSocket(0, 8, InetAddress.getLoopbackAddress()).use { silent ->
            farm.joined("http://127.0.0.1:${silent.localPort}", "ab".repeat(32))
            val began = System.nanoTime()
            runBlocking {
                assertFailsWith<TimeoutCancellationException> { withTimeout(300) { farm.synced() } }
                assertFailsWith<TimeoutCancellationException> { withTimeout(300) { farm.serverNews().first() } }
            }
            assertTrue(System.nanoTime() - began < 20_000_000_000, "it waited for the network")
        }
        farm.gather("Orchard", Species.HEN, 3)
        assertTrue(farm.status().waiting > 0u)
    }

    @Test
    fun theServersWordIsAFlow() = Server(File(folder.root, "server")).use { server ->
        orchard().using { farm ->
            farm.join(server.url, server.invite(), "phone")
            runBlocking { withTimeout(30_000) { farm.serverNews().onEach { farm.off { sync(null) } }.first() } }
        }
    }

    @Test
    fun aListenerThatFailsUndoesNothing(): Unit = orchard().using { farm ->
        farm.watch(object : Listener {
            override fun newer(): Unit = error("fell over")
        })
        farm.gather("Orchard", Species.HEN, 4)
        assertEquals(4, farm.sheet(farm.today(), farm.today()).gathered.eggs)
    }

    @Test
    fun twoHundredOpeningsLeaveNothingBehind() {
        orchard().using { }
        val path = File(folder.root, "a.db").path

        fun cycle(times: Int) {
            repeat(times) {
                Farm.open(path).using { farm ->
                    farm.watch(Count())
                    farm.sheet(farm.today(), farm.today())
                }
            }
        }

        cycle(40)
        val (files, memory) = openFiles() to resident()
        cycle(200)
        assertTrue(openFiles() <= files, "files: $files, then ${openFiles()}")
        val grown = resident() - memory
        assertTrue(grown < 24_000, "grew by $grown kB")
    }

    /** Open files of this process; Linux only. */
    private fun openFiles(): Int = File("/proc/self/fd").list()?.size ?: 0

    /** Memory in use in kB, the JVM's garbage aside. */
    private fun resident(): Long {
        repeat(3) { System.gc() }
        val status = File("/proc/self/status").takeIf { it.exists() } ?: return 0
        return status.readLines().first { it.startsWith("VmRSS") }.filter { it.isDigit() }.toLong()
    }
}
