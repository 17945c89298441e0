-- Schema version 2: known temperatures summed by station and UTC day, so that a reading without
-- one can be given that of its neighbours without looking at all of them.

CREATE TABLE day_temperature (
    station TEXT NOT NULL,
    day     INTEGER NOT NULL,
    n       INTEGER NOT NULL,
    sum     REAL NOT NULL,
    squares REAL NOT NULL,
    PRIMARY KEY (station, day)
) STRICT, WITHOUT ROWID;

INSERT INTO day_temperature
SELECT station, day, count(*), sum(celsius), sum(celsius * celsius)
FROM (
    SELECT n.station,
           (r.taken_at - ((r.taken_at % 86400000000 + 86400000000) % 86400000000)) / 86400000000
               AS day,
           CASE typeof(r.temperature) WHEN 'integer' THEN r.temperature / 1000.0
                                      ELSE r.temperature END AS celsius
    FROM reading r JOIN note n ON n.no = r.note
    WHERE r.temperature IS NOT NULL
)
GROUP BY station, day;
