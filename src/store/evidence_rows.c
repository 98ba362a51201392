/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The rows of evidence, set by set, as they were recorded: a column has the name of the table's
 * column where it is that one. Must never cut a value: what a spreadsheet would spoil is for the writer.
 */
#include "andamento/store/evidence.h"
#include "store/correction.h"
#include "store/handle.h"

#define OF_ITEMS "(SELECT item_id FROM temp.evidence_item)"
#define OF(what) "(SELECT " what "_id FROM temp.evidence_" what ")"
#define SHA256(hash) "lower(hex(" hash ")) AS sha256"

static const struct {
    const char *name, *sql;
} sets[] = {
    {"links",
     "SELECT k.link_id, c.kind AS child_kind, c.serial AS child, p.kind AS parent_kind,"
     " p.serial AS parent, k.role, k.region, k.share, k.row_no AS row, k.column_no AS \"column\","
     " k.at_us, e.at_us AS until_us, CASE t.confidence WHEN 1 THEN 'scanned' WHEN 2 THEN 'typed'"
     " WHEN 3 THEN 'inferred' END AS confidence, r.correction_id AS corrected_by,"
     " CASE WHEN r.correction_id IS NOT NULL THEN coalesce(q.serial, '(none)') END"
     " AS corrected_parent, " SHA256(
         "f.hash") ", k.line_no AS line,"
                   " lower(hex(g.hash)) AS until_sha256, e.line_no AS until_line"
                   " FROM main.link k JOIN item c ON c.item_id = k.child_id JOIN item p ON p.item_id = k.parent_id"
                   " JOIN file f ON f.file_id = k.file_id LEFT JOIN link_trait t ON t.link_id = k.link_id"
                   " LEFT JOIN corrected_link r ON r.link_id = k.link_id AND NOT EXISTS"
                   " (SELECT 1 FROM correction u WHERE u.undoes = r.correction_id)"
                   " LEFT JOIN item q ON q.item_id = r.parent_id"
                   " LEFT JOIN link_end e ON e.end_id = (SELECT x.end_id FROM link_end x"
                   " WHERE x.child_id = k.child_id AND x.parent_id = coalesce(r.parent_id, k.parent_id)"
                   " AND (k.at_us IS NULL OR x.at_us > k.at_us) AND (x.role IS NULL OR x.role IS k.role)"
                   " AND (x.region IS NULL OR x.region IS k.region)"
                   " AND (x.row_no IS NULL OR x.row_no IS k.row_no)"
                   " AND (x.column_no IS NULL OR x.column_no IS k.column_no) ORDER BY x.at_us, x.end_id LIMIT 1)"
                   " LEFT JOIN file g ON g.file_id = e.file_id"
                   " WHERE k.link_id IN " OF("link") " ORDER BY k.link_id"},
    {"aliases",
     "SELECT a.alias_id, i.kind, i.serial, o.serial AS other_serial, a.from_us, a.until_us, " SHA256(
         "f.hash") ", a.line_no AS line FROM alias a JOIN item i ON i.item_id = a.item_id"
                   " JOIN item o ON o.item_id = a.other_id JOIN file f ON f.file_id = a.file_id"
                   " WHERE a.item_id IN " OF_ITEMS " OR a.other_id IN " OF_ITEMS
                   " ORDER BY a.alias_id"},
    {"visits",
     "SELECT v.visit_id, i.kind, i.serial, f.station, v.first_us, v.last_us, v.shift, v.purpose,"
     " v.tool, v.gauge, v.who, v.attempt, v.rows_taken, lower(hex(v.rows_digest)) AS rows_digest, " SHA256(
         "f.hash") ", v.first_line, v.last_line, f.entry FROM visit v"
                   " JOIN item i ON i.item_id = v.item_id JOIN file f ON f.file_id = v.file_id"
                   " WHERE v.item_id IN " OF_ITEMS " ORDER BY v.visit_id"},
    {"samples",
     "SELECT s.sample_id, t.name AS stream, i.kind, i.serial, s.at_us, s.n, s.missing, s.mean,"
     " s.ssd, s.min_value, s.max_value, s.counted, s.opportunities, s.decimals,"
     " s.ribbon AS batch, (SELECT group_concat(u.code, ' ') FROM suspect u"
     " WHERE u.sample_id = s.sample_id) AS suspect, EXISTS (SELECT 1 FROM superseded x"
     " WHERE x.sample_id = s.sample_id) AS superseded, c.correction_id AS corrected_by,"
     " c.factor, s.visit_id, " SHA256(
         "f.hash") ", s.first_line, s.last_line, f.entry"
                   " FROM temp.evidence_sample n CROSS JOIN sample s ON s.sample_id = n.sample_id"
                   " JOIN stream t ON t.stream_id = s.stream_id JOIN item i ON i.item_id = s.item_id"
                   " JOIN file f ON f.file_id = s.file_id LEFT JOIN corrected_sample c"
                   " ON c.sample_id = s.sample_id AND NOT EXISTS (SELECT 1 FROM correction u"
                   " WHERE u.undoes = c.correction_id) ORDER BY n.sample_id"},
    {"limits",
     "SELECT l.limits_id, t.name AS stream, CASE k.decision WHEN 1 THEN 'locked'"
     " WHEN 2 THEN 'refused' ELSE 'proposed' END AS state, k.in_force_us, l.baseline_from_us,"
     " l.baseline_until_us, l.baseline_samples, k.author, k.reason, k.system_user, k.host,"
     " l.known_us AS proposed_us, k.known_us AS decided_us, l.model, l.exclusions, l.entry,"
     " k.entry AS decision_entry FROM limits l JOIN stream t ON t.stream_id = l.stream_id"
     " LEFT JOIN limits_lock k ON k.limits_id = l.limits_id WHERE l.limits_id IN " OF(
         "limits") " ORDER BY l.limits_id"},
    {"signals",
     "SELECT g.signal_id, t.name AS stream, g.limits_id, g.panel, g.side, g.rule, g.first_us,"
     " g.signal_us, (SELECT max(h.at_us) FROM hit h WHERE h.signal_id = g.signal_id) AS last_hit_us,"
     " i.kind, i.serial, (SELECT count(*) FROM hit h WHERE h.signal_id = g.signal_id) AS hits,"
     " (SELECT count(*) FROM hit h JOIN hit_withdrawal w ON w.hit_id = h.hit_id"
     " WHERE h.signal_id = g.signal_id) AS hits_withdrawn,"
     " (SELECT count(*) FROM temp.evidence_sample e WHERE e.stream_id = g.stream_id"
     " AND e.at_us >= g.first_us AND e.at_us <= (SELECT max(h.at_us) FROM hit h"
     " WHERE h.signal_id = g.signal_id)) AS samples_touched,"
     " (SELECT count(*) FROM answer a WHERE a.signal_id = g.signal_id) AS answers,"
     " g.known_us, g.entry FROM signal g JOIN stream t ON t.stream_id = g.stream_id"
     " JOIN sample s ON s.sample_id = g.signal_sample_id JOIN item i ON i.item_id = s.item_id"
     " WHERE g.signal_id IN " OF("signal") " ORDER BY g.signal_id"},
    {"hits",
     "SELECT h.hit_id, h.signal_id, t.name AS stream, h.sample_id, i.kind, i.serial, h.at_us,"
     " h.panel, h.side, h.rule, h.value, h.z, h.known_us, h.entry, w.known_us AS withdrawn_us,"
     " w.reason AS withdrawn_reason, w.entry AS withdrawn_entry FROM hit h"
     " JOIN stream t ON t.stream_id = h.stream_id JOIN sample s ON s.sample_id = h.sample_id"
     " JOIN item i ON i.item_id = s.item_id LEFT JOIN hit_withdrawal w ON w.hit_id = h.hit_id"
     " WHERE h.hit_id IN " OF("hit") " ORDER BY h.hit_id"},
    {"answers",
     "SELECT a.answer_id, a.signal_id, a.known_us, a.author, a.cause, a.action, a.containment,"
     " a.reason, a.system_user, a.host, a.entry FROM answer a WHERE a.signal_id IN " OF(
         "signal") " ORDER BY a.answer_id"},
    {"corrections",
     "SELECT c.correction_id, CASE c.kind WHEN 1 THEN 'serial' WHEN 2 THEN 'parent'"
     " WHEN 3 THEN 'unit' WHEN 4 THEN 'withdrawn' ELSE 'undone' END AS kind, c.known_us,"
     " i.serial AS item, w.serial AS was, n.serial AS \"is\", c.serial, c.stream, c.factor,"
     " c.effects, c.before, c.after, c.undoes, (SELECT u.correction_id FROM correction u"
     " WHERE u.undoes = c.correction_id) AS undone_by, c.author, c.reason, c.system_user, c.host,"
     " c.entry FROM correction c LEFT JOIN item i ON i.item_id = c.item_id"
     " LEFT JOIN item w ON w.item_id = c.was_id LEFT JOIN item n ON n.item_id = c.is_id"
     " WHERE c.correction_id IN " OF("correction") " ORDER BY c.correction_id"},
    {"held",
     "SELECT h.held_id, f.station, h.code, h.why, h.column_no AS field, h.column_name,"
     " CAST(h.raw AS TEXT) AS row, (SELECT r.act_id FROM release r WHERE r.held_id = h.held_id)"
     " AS released_by, " SHA256(
         "f.hash") ", h.line_no AS line, f.entry FROM held h"
                   " JOIN file f ON f.file_id = h.file_id WHERE h.held_id IN " OF(
                       "held") " ORDER BY h.held_id"},
    {"releases",
     "SELECT a.act_id, CASE a.cause WHEN 1 THEN 'person' WHEN 2 THEN 'item came'"
     " ELSE 'description changed' END AS cause, a.as_is, a.line_revision, a.known_us, a.author,"
     " a.reason, a.system_user, a.host, (SELECT count(*) FROM release r"
     " WHERE r.act_id = a.act_id AND r.held_id IS NOT NULL) AS rows, a.file_id, " SHA256(
         "f.hash") ", a.entry FROM release_act a JOIN file f ON f.file_id = a.file_id WHERE a.act_id IN"
                   " (SELECT act_id FROM temp.evidence_release) ORDER BY a.act_id"},
    {"dropped",
     "SELECT d.file_id, f.name AS file, " SHA256(
         "f.hash") ", CASE d.kind WHEN 1 THEN 'readings' ELSE 'original' END AS what, d.row_count, d.bytes,"
                   " lower(hex(d.hash)) AS dropped_sha256, r.known_us, r.author, r.reason, r.system_user, r.host,"
                   " r.retention_id, r.entry FROM retention_file d"
                   " JOIN retention r ON r.retention_id = d.retention_id JOIN file f ON f.file_id = d.file_id"
                   " WHERE d.file_id IN " OF("file") " ORDER BY d.file_id, d.kind"},
    {"gauge_studies",
     "SELECT s.study_id, s.gauge, CASE s.kind WHEN 1 THEN 'crossed' WHEN 2 THEN 'bias'"
     " WHEN 3 THEN 'linearity' ELSE 'sorting' END AS kind, s.stream, s.grade, s.verdict, s.known_us,"
     " s.author, s.reason, s.system_user, s.host, s.file, " SHA256(
         "s.hash") ", s.entry FROM gauge_study s WHERE s.study_id IN " OF("study") " ORDER BY s.study_id"},
    {"descriptions",
     "SELECT r.revision, r.known_us, r.system_user, r.host, " SHA256(
         "r.hash") ", r.entry"
                   " FROM line_revision r WHERE r.entry IN (SELECT entry FROM temp.evidence_entry)"
                   " ORDER BY r.revision"},
    {"signatures",
     "SELECT s.signature_id, s.signed_entry, l.kind, k.author, s.key_id, lower(hex(k.public_key))"
     " AS public_key, lower(hex(s.leaf)) AS leaf, lower(hex(s.root)) AS root, s.signature,"
     " k.known_us AS key_known_us, r.known_us AS key_retired_us, k.entry AS key_entry, s.entry"
     " FROM act_signature s JOIN ledger l ON l.entry = s.signed_entry"
     " JOIN signing_key k ON k.key_id = s.key_id"
     " LEFT JOIN key_retirement r ON r.key_id = s.key_id"
     " WHERE s.entry IN (SELECT entry FROM temp.evidence_entry) ORDER BY s.signature_id"},
    {"files",
     "SELECT f.file_id, f.name, f.station, CASE f.state WHEN 0 THEN 'taken' ELSE 'held' END"
     " AS state, f.code, f.why, f.round, f.bytes, f.rows_in, f.taken, f.duplicate, f.held, f.blank,"
     " f.first_us, f.last_us, f.modified_us, f.known_us, f.line_revision, f.notes,"
     " t.identity, t.file_number, " SHA256(
         "f.hash") ", CASE WHEN EXISTS (SELECT 1 FROM original o WHERE o.hash = f.hash) THEN 'kept'"
                   " ELSE 'dropped' END AS original, f.entry FROM file f"
                   " LEFT JOIN file_trait t ON t.file_id = f.file_id WHERE f.file_id IN " OF(
                       "file") " ORDER BY f.file_id"},
    {"ledger", "SELECT l.entry, l.at_us, l.kind, l.payload, lower(hex(l.leaf)) AS leaf_sha256"
               " FROM ledger l WHERE l.entry IN (SELECT entry FROM temp.evidence_entry)"
               " ORDER BY l.entry"},
};

size_t an_evidence_set_count(void)
{
    return sizeof sets / sizeof *sets;
}

const char *an_evidence_set_name(size_t set)
{
    return sets[set].name;
}

static enum an_status read_cell(const struct an_query *query, int column,
                                struct an_evidence_cell *cell, struct an_error *err)
{
    *cell = (struct an_evidence_cell){0};
    switch (sqlite3_column_type(query->stmt, column)) {
    case SQLITE_INTEGER:
        cell->type = AN_CELL_INTEGER;
        cell->integer = an_column_int(query, column);
        return AN_OK;
    case SQLITE_FLOAT:
        cell->type = AN_CELL_REAL;
        cell->real = an_column_real(query, column);
        return AN_OK;
    case SQLITE_NULL:
        return AN_OK;
    default:
        cell->type = AN_CELL_TEXT;
        cell->text = (const char *)sqlite3_column_text(query->stmt, column);
        cell->length = (size_t)sqlite3_column_bytes(query->stmt, column);
        return cell->text ? AN_OK : an_fail(err, AN_NO_MEMORY, "%s: memory ran out", query->doing);
    }
}

enum an_status an_evidence_rows(struct an_store *store, size_t set,
                                const struct an_evidence_sink *sink, struct an_error *err)
{
    const char *names[AN_EVIDENCE_MOST_COLUMNS];
    struct an_evidence_cell cells[AN_EVIDENCE_MOST_COLUMNS];
    struct an_query query;
    bool more = false;
    enum an_status st = an_query_start(&query, store, sets[set].sql, "reading evidence", err);
    if (st) {
        return st;
    }
    const int columns = sqlite3_column_count(query.stmt);
    if (columns > AN_EVIDENCE_MOST_COLUMNS) {
        an_query_end(&query);
        return an_fail(err, AN_BUG, "evidence of %s has too many columns", sets[set].name);
    }
    for (int c = 0; c < columns; c++) {
        names[c] = sqlite3_column_name(query.stmt, c);
        if (!names[c]) {
            an_query_end(&query);
            return an_fail(err, AN_NO_MEMORY, "reading evidence: memory ran out");
        }
    }
    st = sink->names(sink->context, names, (size_t)columns, err);
    while (!st && !(st = an_query_row(&query, &more, err)) && more) {
        for (int c = 0; !st && c < columns; c++) {
            st = read_cell(&query, c, &cells[c], err);
        }
        st = st ? st : sink->row(sink->context, cells, (size_t)columns, err);
    }
    an_query_end(&query);
    return st;
}
