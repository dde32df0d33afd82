package pointdown

import java.io.File
import java.io.RandomAccessFile
import kotlin.test.assertEquals
import kotlin.test.assertFalse
import kotlin.test.assertNotNull
import org.junit.Rule
import org.junit.Test
import org.junit.rules.TemporaryFolder

/** Errors of every kind that can be brought about from outside, typed. */
class ErrorsTest {
    @get:Rule
    val folder = TemporaryFolder()

    private fun file(name: String) = File(folder.root, name)

    @Test
    fun aWrongFieldIsNamedWithItsValueAndWhatIsAllowed() = begin(file("a.db")).using { farm ->
        farm.put(Event.Coop("Orchard", listOf(Species.HEN)))
        val before = farm.recordCount()
        val e = fails<PointdownException.Invalid> { farm.gather("Orchard", Species.HEN, 70_000) }
        assertEquals("count" to "70000", e.field to e.value)
        assertNotNull(e.allowed)
        assertEquals(e.text, e.words)
        assertEquals("invalid", e.kind)
        val duck = fails<PointdownException.Invalid> { farm.gather("Orchard", Species.DUCK, 1) }
        assertEquals("species", duck.field)
        val day = fails<PointdownException.Invalid> { farm.sheet("yesterday", farm.today()) }
        assertEquals("first" to "yesterday", day.field to day.value)
        assertEquals("set_json", fails<PointdownException.Invalid> { farm.amend(farm.id(), "[1]", null) }.field)
        assertEquals(before, farm.recordCount())
    }

    @Test
    fun whatIsThereAndWhatIsNot() {
        val farm = begin(file("a.db"))
        assertEquals("not_found", fails<PointdownException.NotFound> { Farm.open(file("none.db").path) }.kind)
        fails<PointdownException.InUse> { Farm.open(file("a.db").path) }
        fails<PointdownException.NotJoined> { farm.sync(null) }
        begin(file("b.db"), "Ana").using { other ->
            fails<PointdownException.OtherFarm> { farm.importFile(other.exportFile()) }
        }
        fails<PointdownException.Damaged> { farm.importFile("no file of ours".toByteArray()) }
        repeat(2) { farm.put(Event.Coop("Pond", listOf(Species.HEN))) }
        fails<PointdownException.Ambiguous> { farm.find("coop", "Pond") }
        farm.shutDown()
        farm.shutDown()
        fails<PointdownException.Closed> { farm.today() }
        farm.close()
        file("junk.db").writeText("neither a database nor a farm".repeat(400))
        fails<PointdownException.Damaged> { Farm.open(file("junk.db").path) }
        fails<PointdownException.Storage> { begin(file("no/folder/a.db")) }
        // The layout's number: four bytes at offset 60 of an SQLite file (its file format, section 1.3).
        RandomAccessFile(file("a.db"), "rw").use { it.seek(60); it.writeInt(9999) }
        assertEquals("too_new", fails<PointdownException.TooNew> { Farm.open(file("a.db").path) }.kind)
    }

    @Test
    fun theServerCannotBeReachedOrRefuses() {
        val server = Server(file("server"))
        begin(file("a.db")).using { farm ->
            farm.join(server.url, server.invite(), "phone")
            val code = farm.invite().code
            Farm.joinNew(file("b.db").path, server.url, code, "Ana", "a").using { }
            fails<PointdownException.Refused> { Farm.joinNew(file("c.db").path, server.url, code, "Ben", "b") }
            assertFalse(file("c.db").exists())
            server.close()
            fails<PointdownException.Network> { farm.sync(null) }
        }
    }
}
