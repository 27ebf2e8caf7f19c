-- The words of each thing beside it, so that further words of a search need no second table; and findings by when their
-- determination began, as lists give them.

ALTER TABLE thing ADD COLUMN words TEXT NOT NULL DEFAULT ' ';
CREATE INDEX word_of ON word (node, word);
UPDATE thing SET words = COALESCE(
    (SELECT ' ' || string_agg(w.word, ' ' ORDER BY w.word) || ' ' FROM word w WHERE w.node = thing.node), ' ');
DROP INDEX word_of;
UPDATE finding SET at_ms =
    COALESCE((SELECT t.since_ms FROM thing t WHERE t.node = finding.determination), finding.at_ms);
