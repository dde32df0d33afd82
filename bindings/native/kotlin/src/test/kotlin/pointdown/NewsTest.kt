package pointdown

import java.io.File
import java.lang.ref.WeakReference
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

    /** A household's table: each day a round at each of two coops. */
    private fun table(days: Int): ByteArray {
        val all = generateSequence(java.time.LocalDate.of(2000, 1, 2)) { it.plusDays(1) }.take(days)
        val rows = all.withIndex().flatMap { (n, day) -> sequenceOf("$day,Orchard,${n % 30}", "$day,Pond,${n % 7}") }
        return rows.joinToString("\n", "date,coop,eggs\n").toByteArray()
    }

    @Test
    fun tenThousandNoticesComeInBatchesAfterOneSignal(): Unit = orchard().using { farm ->
        val rows = 10_000
        val count = Count()
        farm.put(Event.Coop("Pond", listOf(Species.HEN)))
        farm.watch(count)
        val begin = farm.news(0u, 16_384u).after
        assertEquals(rows.toULong(), farm.importTable(table(rows / 2), "date=date,coop=coop,eggs=eggs", false).added)
        var (after, read, pulls) = Triple(begin, 0, 0)
        do {
            val news = farm.news(after, 256u)
            assertTrue(!news.missed && news.notices.size <= 256)
            assertEquals(news.notices.indices.map { after + 1u + it.toULong() }, news.notices.map { it.number })
            after = news.after
            read += news.notices.size
            pulls++
        } while (news.more)
        assertEquals(rows to 40, read to pulls)
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
            CancelToken().use { token ->
                token.cancel()
                fails<PointdownException.Cancelled> {
                    farm.join("http://127.0.0.1:${silent.localPort}", "abcd", "phone", token)
                }
            }
            assertEquals(null, farm.status().server)
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
        val listeners = mutableListOf<WeakReference<Listener>>()

        // Each opening proves that the one before let go of the file: one at a time may have it.
        fun cycle(times: Int) {
            repeat(times) {
                Farm.open(path).using { farm ->
                    val count = Count()
                    listeners += WeakReference(count)
                    farm.watch(count)
                    farm.sheet(farm.today(), farm.today())
                }
            }
        }

        cycle(100)
        val (files, memory) = openFiles() to resident()
        cycle(200)
        assertTrue(openFiles() <= files, "files: $files, then ${openFiles()}")
        val grown = resident() - memory
        // A farm that stays open holds about a megabyte.
        assertTrue(grown < 40_000, "grew by $grown kB")
        assertEquals(0, listeners.count { it.get() != null }, "listeners that something still holds")
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
