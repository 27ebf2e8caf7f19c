-- A determination that was computed again since it was approved is no longer listed as approved, and one that cannot be computed
-- any more has no result: the lists are made again from the events when a record of an older layout is opened.
UPDATE chain_end SET one = 1 WHERE one = 1;
