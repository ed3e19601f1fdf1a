use copperwalk::{
    fixture, plan, sweep,
    virtual_bench::{Spec, VirtualBench},
};
fn main() {
    let a: Vec<String> = std::env::args().collect();
    let f = fixture::read(std::path::Path::new(&a[1])).unwrap();
    let p = plan::compile(&f, plan::Sampling::Quick).unwrap();
    let mut spec = Spec::new(a[2].parse().unwrap());
    for x in &a[3..] {
        spec = spec.fault(x.clone());
    }
    let mut b = VirtualBench::new(&f, &spec).unwrap();
    let s = sweep::sweep(&mut b, &f, &p, sweep::Subject { serial: "X".into(), lot: None, started_us: 0 })
        .unwrap();
    for r in &s.runs {
        println!("RUN {} {:?} {:?}", r.state, r.purpose, r.end);
        for h in &r.shots {
            println!(
                "  {:?} {:?} {:?} {}us {:?}",
                h.role,
                h.shot.contacts,
                h.shot.source,
                h.to_us - h.from_us,
                &h.codes[..h.codes.len().min(20)]
            );
        }
    }
    println!("{:?}\n{:?}\n{:#?}", s.verdict, s.bench_faults, s.faults);
    println!("{:?} {:?}", s.closures, s.notes);
}
