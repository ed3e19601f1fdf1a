-- A record is written once: whoever tries to change or delete one, from any program, is refused.

CREATE TRIGGER board_is_not_changed BEFORE UPDATE ON board
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a board is never changed'); END;
CREATE TRIGGER board_is_not_deleted BEFORE DELETE ON board
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a board is never deleted'); END;
CREATE TRIGGER fixture_is_not_changed BEFORE UPDATE ON fixture
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a fixture is never changed'); END;
CREATE TRIGGER fixture_is_not_deleted BEFORE DELETE ON fixture
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a fixture is never deleted'); END;
CREATE TRIGGER proof_is_not_changed BEFORE UPDATE ON proof
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a proof is never changed'); END;
CREATE TRIGGER proof_is_not_deleted BEFORE DELETE ON proof
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a proof is never deleted'); END;
CREATE TRIGGER lot_is_not_changed BEFORE UPDATE ON lot_unit
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a lot is never changed'); END;
CREATE TRIGGER lot_is_not_deleted BEFORE DELETE ON lot_unit
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a lot is never deleted'); END;
CREATE TRIGGER unit_is_not_changed BEFORE UPDATE ON unit
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a unit is never changed'); END;
CREATE TRIGGER unit_is_not_deleted BEFORE DELETE ON unit
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a unit is never deleted'); END;
CREATE TRIGGER mark_is_not_changed BEFORE UPDATE ON mark
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a mark is never changed'); END;
CREATE TRIGGER mark_is_not_deleted BEFORE DELETE ON mark
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a mark is never deleted'); END;
CREATE TRIGGER taken_in_is_not_changed BEFORE UPDATE ON taken_in
    BEGIN SELECT RAISE(ABORT, 'records are append-only: what was taken in is never changed'); END;
CREATE TRIGGER taken_in_is_not_deleted BEFORE DELETE ON taken_in
    BEGIN SELECT RAISE(ABORT, 'records are append-only: what was taken in is never deleted'); END;
CREATE TRIGGER measurement_is_not_changed BEFORE UPDATE ON measurement
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a measurement is never changed'); END;
CREATE TRIGGER measurement_is_not_deleted BEFORE DELETE ON measurement
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a measurement is never deleted'); END;
CREATE TRIGGER raw_is_not_changed BEFORE UPDATE ON raw
    BEGIN SELECT RAISE(ABORT, 'records are append-only: raw material is never changed'); END;
CREATE TRIGGER raw_is_not_deleted BEFORE DELETE ON raw
    BEGIN SELECT RAISE(ABORT, 'records are append-only: raw material is never deleted'); END;
CREATE TRIGGER judgement_is_not_changed BEFORE UPDATE ON judgement
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a judgement is never changed'); END;
CREATE TRIGGER judgement_is_not_deleted BEFORE DELETE ON judgement
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a judgement is never deleted'); END;
CREATE TRIGGER segment_is_not_changed BEFORE UPDATE ON segment
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a segment is never changed'); END;
CREATE TRIGGER segment_is_not_deleted BEFORE DELETE ON segment
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a segment is never deleted'); END;
CREATE TRIGGER isolation_is_not_changed BEFORE UPDATE ON isolation
    BEGIN SELECT RAISE(ABORT, 'records are append-only: an isolation is never changed'); END;
CREATE TRIGGER isolation_is_not_deleted BEFORE DELETE ON isolation
    BEGIN SELECT RAISE(ABORT, 'records are append-only: an isolation is never deleted'); END;
CREATE TRIGGER thermometer_is_not_changed BEFORE UPDATE ON thermometer
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a thermometer is never changed'); END;
CREATE TRIGGER thermometer_is_not_deleted BEFORE DELETE ON thermometer
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a thermometer is never deleted'); END;
CREATE TRIGGER standard_is_not_changed BEFORE UPDATE ON standard
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a standard is never changed'); END;
CREATE TRIGGER standard_is_not_deleted BEFORE DELETE ON standard
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a standard is never deleted'); END;
CREATE TRIGGER closure_is_not_changed BEFORE UPDATE ON closure
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a closure is never changed'); END;
CREATE TRIGGER closure_is_not_deleted BEFORE DELETE ON closure
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a closure is never deleted'); END;
CREATE TRIGGER fault_is_not_changed BEFORE UPDATE ON fault
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a fault is never changed'); END;
CREATE TRIGGER fault_is_not_deleted BEFORE DELETE ON fault
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a fault is never deleted'); END;
CREATE TRIGGER bench_fault_is_not_changed BEFORE UPDATE ON bench_fault
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a bench fault is never changed'); END;
CREATE TRIGGER bench_fault_is_not_deleted BEFORE DELETE ON bench_fault
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a bench fault is never deleted'); END;
CREATE TRIGGER remark_is_not_changed BEFORE UPDATE ON remark
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a remark is never changed'); END;
CREATE TRIGGER remark_is_not_deleted BEFORE DELETE ON remark
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a remark is never deleted'); END;
CREATE TRIGGER step_is_not_changed BEFORE UPDATE ON step
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a step is never changed'); END;
CREATE TRIGGER step_is_not_deleted BEFORE DELETE ON step
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a step is never deleted'); END;
CREATE TRIGGER note_is_not_changed BEFORE UPDATE ON note
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a note is never changed'); END;
CREATE TRIGGER note_is_not_deleted BEFORE DELETE ON note
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a note is never deleted'); END;
CREATE TRIGGER repair_is_not_changed BEFORE UPDATE ON repair
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a repair is never changed'); END;
CREATE TRIGGER repair_is_not_deleted BEFORE DELETE ON repair
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a repair is never deleted'); END;
CREATE TRIGGER correction_is_not_changed BEFORE UPDATE ON correction
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a correction is never changed'); END;
CREATE TRIGGER correction_is_not_deleted BEFORE DELETE ON correction
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a correction is never deleted'); END;
CREATE TRIGGER status_is_not_changed BEFORE UPDATE ON status
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a status is never changed'); END;
CREATE TRIGGER status_is_not_deleted BEFORE DELETE ON status
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a status is never deleted'); END;
CREATE TRIGGER photo_is_not_changed BEFORE UPDATE ON photo
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a photo is never changed'); END;
CREATE TRIGGER photo_is_not_deleted BEFORE DELETE ON photo
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a photo is never deleted'); END;
CREATE TRIGGER picture_is_not_changed BEFORE UPDATE ON picture
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a picture is never changed'); END;
CREATE TRIGGER picture_is_not_deleted BEFORE DELETE ON picture
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a picture is never deleted'); END;
CREATE TRIGGER tick_is_not_changed BEFORE UPDATE ON tick
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a tick is never changed'); END;
CREATE TRIGGER tick_is_not_deleted BEFORE DELETE ON tick
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a tick is never deleted'); END;
CREATE TRIGGER watch_is_not_changed BEFORE UPDATE ON watch
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a watch is never changed'); END;
CREATE TRIGGER watch_is_not_deleted BEFORE DELETE ON watch
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a watch is never deleted'); END;
CREATE TRIGGER ledger_is_not_changed BEFORE UPDATE ON ledger
    BEGIN SELECT RAISE(ABORT, 'records are append-only: the ledger is never changed'); END;
CREATE TRIGGER ledger_is_not_deleted BEFORE DELETE ON ledger
    BEGIN SELECT RAISE(ABORT, 'records are append-only: the ledger is never deleted'); END;
