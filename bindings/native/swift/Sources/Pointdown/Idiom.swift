// What makes the generated library at home in Swift: exchanges that a task can stop, a stream of what
// changed, and `using`, which closes the database at the end of a block. No rule of the trade is here.

import Dispatch
import Foundation

/// Holds the library against the code that was generated for it; call it once, before anything else.
public func checkLibrary() {
    uniffiEnsurePointdownNativeInitialized()
}

/// Threads for calls that block; the ones of Swift's own tasks are few and must not.
private let calls = DispatchQueue(label: "pointdown", attributes: .concurrent)

extension Farm {
    /// Runs a block with the farm and closes the database after it, whatever happens.
    public func using<T>(_ block: (Farm) throws -> T) rethrows -> T {
        defer { shutDown() }
        return try block(self)
    }

    /// Asks or logs something off the thread that draws the screen.
    public func off<T: Sendable>(_ block: @escaping @Sendable (Farm) throws -> T) async throws -> T {
        try await withCheckedThrowingContinuation { done in
            calls.async { done.resume(with: Result { try block(self) }) }
        }
    }

    /// Exchanges with the server; cancelling the task stops it at once.
    public func synced() async throws -> Exchange {
        let token = CancelToken()
        return try await withTaskCancellationHandler {
            try await off { farm in try farm.sync(cancel: token) }
        } onCancel: {
            token.cancel()
        }
    }

    /// Notices of what changed from now on, at most so many at a time. An empty array says that some
    /// were missed: look at everything anew. One reader at a time for a farm.
    public func changes(most: UInt32 = 256) throws -> AsyncStream<[Notice]> {
        let (rings, ring) = AsyncStream<Void>.makeStream(bufferingPolicy: .bufferingNewest(1))
        try watch(listener: Bell(ring))
        var after: UInt64 = 0
        while true {
            let old = try news(after: after, most: 16_384)
            let read = after
            after = old.after
            if !old.more && after == read { break }
        }
        let start = after
        return AsyncStream { batches in
            let reading = Task {
                var after = start
                for await _ in rings {
                    var more = true
                    while more {
                        guard let news = try? self.news(after: after, most: most) else {
                            batches.finish()
                            return
                        }
                        after = news.after
                        more = news.more
                        if news.missed { batches.yield([]) }
                        if !news.notices.isEmpty { batches.yield(news.notices) }
                    }
                }
                batches.finish()
            }
            batches.onTermination = { _ in
                reading.cancel()
                try? self.watch(listener: nil)
            }
        }
    }

    /// The server's word that there is something newer; ends when the connection does. Then sync.
    public func serverNews() -> AsyncThrowingStream<Void, Error> {
        AsyncThrowingStream(bufferingPolicy: .bufferingNewest(1)) { words in
            let token = CancelToken()
            words.onTermination = { _ in token.cancel() }
            calls.async {
                do {
                    try self.listen(cancel: token, listener: Word(words))
                    words.finish()
                } catch {
                    words.finish(throwing: error)
                }
            }
        }
    }
}

extension PointdownError {
    /// The kind as a stable word, such as `not_found`.
    public var kind: String {
        switch self {
        case .Invalid: return "invalid"
        case .NotFound: return "not_found"
        case .Ambiguous: return "ambiguous"
        case .InUse: return "in_use"
        case .DiskFull: return "disk_full"
        case .Storage: return "storage"
        case .Damaged: return "damaged"
        case .TooNew: return "too_new"
        case .OtherFarm: return "other_farm"
        case .Network: return "network"
        case .Refused: return "refused"
        case .NotJoined: return "not_joined"
        case .Cancelled: return "cancelled"
        case .Closed: return "closed"
        case .Other: return "other"
        }
    }

    /// What happened, in words for people.
    public var words: String {
        switch self {
        case .Invalid(let text, _, _, _), .NotFound(let text), .Ambiguous(let text),
            .InUse(let text), .DiskFull(let text), .Storage(let text), .Damaged(let text),
            .TooNew(let text), .OtherFarm(let text), .Network(let text), .Refused(let text),
            .NotJoined(let text), .Cancelled(let text), .Closed(let text), .Other(let text):
            return text
        }
    }
}

extension Row {
    /// When the record happened.
    public var at: Date { Date(timeIntervalSince1970: Double(atMs) / 1000) }
}

/// Passes the word on and holds nothing else.
private final class Bell: Listener {
    private let ring: AsyncStream<Void>.Continuation

    init(_ ring: AsyncStream<Void>.Continuation) {
        self.ring = ring
    }

    func newer() throws {
        ring.yield()
    }
}

private final class Word: Listener {
    private let words: AsyncThrowingStream<Void, Error>.Continuation

    init(_ words: AsyncThrowingStream<Void, Error>.Continuation) {
        self.words = words
    }

    func newer() throws {
        words.yield()
    }
}
