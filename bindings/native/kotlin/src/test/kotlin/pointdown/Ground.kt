package pointdown

import java.io.File
import java.util.concurrent.TimeUnit

/** The real server on a port of its own. */
internal class Server(private val data: File) : AutoCloseable {
    private val child: Process
    val url: String

    init {
        val builder = ProcessBuilder(PROGRAM, "--listen", "127.0.0.1:0", "--data", data.path)
        builder.environment() += mapOf("NO_COLOR" to "1", "RUST_LOG" to "info")
        child = builder.redirectOutput(ProcessBuilder.Redirect.DISCARD).start()
        // A test that fails half-way may never close it.
        Runtime.getRuntime().addShutdownHook(Thread { child.destroyForcibly() })
        val log = child.errorStream.bufferedReader()
        val line = generateSequence { log.readLine() }.firstOrNull { "serving address=" in it }
        url = "http://" + checkNotNull(line) { "the server ended at once" }.substringAfter("serving address=").trim()
        // Whoever writes into a pipe that nobody reads stops some day.
        Thread { runCatching { log.forEachLine { } } }.apply { isDaemon = true }.start()
    }

    /** A code with which a device may bring its farm. */
    fun invite(): String {
        val asked = ProcessBuilder(PROGRAM, "invite", "--data", data.path).start()
        return asked.inputStream.bufferedReader().readText().trim()
    }

    override fun close() {
        child.destroyForcibly().waitFor(20, TimeUnit.SECONDS)
    }

    private companion object {
        val PROGRAM: String =
            checkNotNull(System.getenv("POINTDOWN_SERVER")) { "POINTDOWN_SERVER names no server" }
    }
}

internal fun begin(path: File, person: String = "Marit", more: String? = null): Farm =
    Farm.begin(path.path, SetUp("Larkmeadow", "Europe/Dublin", person, "$person's phone", more))

internal fun Farm.put(event: Event, atMs: Long? = null): Logged = log(Draft(event, atMs))

internal fun Farm.gather(coop: String, species: Species, count: Int): String =
    put(Event.Gather(coop, species, count.toUInt())).id

internal inline fun <reified E : Throwable> fails(block: () -> Unit): E {
    try {
        block()
    } catch (e: Throwable) {
        return e as? E ?: throw AssertionError("expected ${E::class.simpleName}, got $e", e)
    }
    throw AssertionError("expected ${E::class.simpleName}, and nothing failed")
}
