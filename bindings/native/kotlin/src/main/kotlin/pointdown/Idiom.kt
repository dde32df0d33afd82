// What makes the generated library at home in Kotlin: coroutines that can be cancelled, a Flow of what
// changed, and `using`, which closes the database at the end of a block. No rule of the trade is here.

package pointdown

import java.time.Instant
import kotlinx.coroutines.CoroutineDispatcher
import kotlinx.coroutines.Dispatchers
import kotlinx.coroutines.async
import kotlinx.coroutines.channels.Channel
import kotlinx.coroutines.coroutineScope
import kotlinx.coroutines.currentCoroutineContext
import kotlinx.coroutines.ensureActive
import kotlinx.coroutines.flow.Flow
import kotlinx.coroutines.flow.flow
import kotlinx.coroutines.flow.flowOn
import kotlinx.coroutines.withContext

/** Holds the library against the code that was generated for it; call it once, before anything else. */
public fun checkLibrary(): Unit = uniffiEnsureInitialized()

/** Runs a block with the farm and closes the database after it, whatever happens. */
public inline fun <T> Farm.using(block: (Farm) -> T): T =
    try {
        block(this)
    } finally {
        shutDown()
        close()
    }

/** Asks or logs something off the screen's thread. */
public suspend fun <T> Farm.off(
    on: CoroutineDispatcher = Dispatchers.IO,
    block: Farm.() -> T,
): T = withContext(on) { block() }

/** Exchanges with the server; cancelling the coroutine stops it at once. */
public suspend fun Farm.synced(on: CoroutineDispatcher = Dispatchers.IO): Exchange {
    CancelToken().use { token ->
        return stoppable(token, on) { sync(token) }
    }
}

/**
 * Notices of what changed from now on, at most so many at a time. An empty list says that some were
 * missed: look at everything anew. One collector at a time for a farm.
 */
public fun Farm.changes(most: UInt = 256u): Flow<List<Notice>> =
    flow {
        val bell = Bell()
        watch(bell)
        try {
            var after = 0uL
            while (true) {
                val old = news(after, 16_384u)
                val read = after
                after = old.after
                if (!old.more && after == read) break
            }
            while (true) {
                bell.rung.receive()
                do {
                    val news = news(after, most)
                    after = news.after
                    if (news.missed) emit(emptyList())
                    if (news.notices.isNotEmpty()) emit(news.notices)
                    currentCoroutineContext().ensureActive()
                } while (news.more)
            }
        } finally {
            try {
                watch(null)
            } catch (_: PointdownException.Closed) {
                // Closing let the listener go.
            }
        }
    }.flowOn(Dispatchers.IO)

/** The server's word that there is something newer; ends when the connection does. Then sync. */
public fun Farm.serverNews(on: CoroutineDispatcher = Dispatchers.IO): Flow<Unit> =
    flow {
        CancelToken().use { token ->
            coroutineScope {
                val bell = Bell()
                val heard =
                    async {
                        try {
                            stoppable(token, on) { listen(token, bell) }
                        } finally {
                            bell.rung.close()
                        }
                    }
                for (ring in bell.rung) emit(ring)
                heard.await()
            }
        }
    }

/** The kind of an error as a stable word, such as `not_found`. */
public val PointdownException.kind: String
    get() = checkNotNull(this::class.simpleName).replace(Regex("(?<=[a-z])(?=[A-Z])"), "_").lowercase()

/** What happened, in words for people; the generated message is a dump of the fields. */
public val PointdownException.words: String
    get() =
        when (this) {
            is PointdownException.Invalid -> text
            is PointdownException.NotFound -> text
            is PointdownException.Ambiguous -> text
            is PointdownException.InUse -> text
            is PointdownException.DiskFull -> text
            is PointdownException.Storage -> text
            is PointdownException.Damaged -> text
            is PointdownException.TooNew -> text
            is PointdownException.OtherFarm -> text
            is PointdownException.Network -> text
            is PointdownException.Refused -> text
            is PointdownException.NotJoined -> text
            is PointdownException.Cancelled -> text
            is PointdownException.Closed -> text
            is PointdownException.Other -> text
        }

/** When a record happened. */
public val Row.at: Instant
    get() = Instant.ofEpochMilli(atMs)

/** Passes the word on and holds nothing but one ring. */
private class Bell : Listener {
    val rung = Channel<Unit>(Channel.CONFLATED)

    override fun newer() {
        rung.trySend(Unit)
    }
}

/** A call that blocks, on a thread of the dispatcher; cancelling the coroutine cancels the token. */
private suspend fun <T> stoppable(token: CancelToken, on: CoroutineDispatcher, call: () -> T): T =
    coroutineScope {
        val running = async(on) { runCatching(call) }
        try {
            running.await().getOrThrow()
        } catch (stopped: kotlinx.coroutines.CancellationException) {
            token.cancel()
            throw stopped
        }
    }
