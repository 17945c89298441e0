//! What columns are called, in the languages of the workshops that export them.
//!
//! Common practice, no published source: collected from what the words of the trade are in each
//! language. A name that is not here is a question to a person, never a guess.

use crate::fields::Field;

/// A name as it is compared: lower case, without accents, words parted by single blanks.
pub(super) fn plain(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars().flat_map(char::to_lowercase) {
        let folded = match c {
            'ä' | 'á' | 'à' | 'â' | 'å' | 'ã' | 'ą' | 'æ' => "a",
            'ö' | 'ó' | 'ò' | 'ô' | 'õ' | 'ø' => "o",
            'ü' | 'ú' | 'ù' | 'û' | 'ů' => "u",
            'é' | 'è' | 'ê' | 'ë' | 'ę' | 'ě' => "e",
            'í' | 'ì' | 'î' | 'ï' => "i",
            'ñ' | 'ń' | 'ň' => "n",
            'ç' | 'ć' | 'č' => "c",
            'ł' => "l",
            'ś' | 'š' => "s",
            'ż' | 'ź' | 'ž' => "z",
            'ý' => "y",
            'ř' => "r",
            'ß' => "ss",
            _ => "",
        };
        if !folded.is_empty() {
            out.push_str(folded);
        } else if c.is_alphanumeric() {
            out.push(c);
        } else if !out.ends_with(' ') && !out.is_empty() {
            out.push(' ');
        }
    }
    out.truncate(out.trim_end().len());
    out
}

/// How well a name is known: as a whole, or by words within it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Known {
    /// Words within the name, so many characters of them.
    Within(usize),
    /// The whole name.
    Whole,
}

/// What a column of this name may hold, best first; a name of what nobody reads gives nothing.
pub(super) fn fields(name: &str) -> Vec<(Field, Known)> {
    let name = plain(name);
    if name.is_empty() || is_unwanted(&name) {
        return Vec::new();
    }
    let found = looked_up(&name);
    // `Pruefling`: umlauts spelt out, as in ASCII files.
    let spelt = name.replace("ae", "a").replace("oe", "o").replace("ue", "u");
    if found.is_empty() && spelt != name { looked_up(&spelt) } else { found }
}

fn looked_up(name: &str) -> Vec<(Field, Known)> {
    let mut found: Vec<(Field, Known)> = Vec::new();
    for (field, words) in NAMES {
        let best = words
            .split(',')
            .map(str::trim)
            .filter_map(|word| {
                if word == name {
                    Some(Known::Whole)
                } else {
                    (word.len() > 3 && has_words(name, word)).then_some(Known::Within(word.len()))
                }
            })
            .max();
        if let Some(best) = best {
            found.push((*field, best));
        }
    }
    found.sort_by_key(|(_, known)| std::cmp::Reverse(*known));
    found
}

/// Whether a name is known to be of something that no reading holds.
pub(super) fn is_unwanted(name: &str) -> bool {
    let name = plain(name);
    UNWANTED.split(',').any(|word| word.trim() == name)
        || UNWANTED_WITHIN.split(',').any(|word| has_words(&name, word.trim()))
}

/// Whether the words stand in the name as whole words, one behind the other.
pub(super) fn has_words(name: &str, words: &str) -> bool {
    name.match_indices(words).any(|(at, found)| {
        let (before, behind) = (&name[..at], &name[at + found.len()..]);
        (before.is_empty() || before.ends_with(' '))
            && (behind.is_empty() || behind.starts_with(' '))
    })
}

/// Whether the name speaks of a winding's temperature or of the air's; neither: it doesn't say.
pub(super) fn temperature_of(name: &str) -> Option<&'static str> {
    let name = plain(name);
    let has = |list: &str| list.split(',').any(|word| name.contains(word.trim()));
    match (has(OF_WINDING), has(OF_AIR)) {
        (true, false) => Some("winding"),
        (false, true) => Some("ambient"),
        _ => None,
    }
}

/// Whether a lead of this name is on the frame.
pub(super) fn is_case(name: &str) -> bool {
    CASE.split(',').any(|word| word.trim() == plain(name))
}

/// Whether the name is one of a resistance.
pub(super) fn is_resistance(name: &str) -> bool {
    let names = NAMES.iter().find(|(field, _)| *field == Field::Resistance);
    names.is_some_and(|(_, words)| words.split(',').any(|word| word.trim() == name))
}

/// What a mark in place of a resistance means, where its word leaves no doubt.
pub(super) fn mark(text: &str) -> Option<&'static str> {
    let text = plain(text);
    let is = |list: &str| list.split(',').any(|word| word.trim() == text);
    match () {
        () if is(OVER) => Some("over"),
        () if is(UNDER) => Some("under"),
        () if is(EMPTY) => Some("empty"),
        () if is(FINE) => Some("fine"),
        () => None,
    }
}

const OF_WINDING: &str = "winding, wicklung, enroulement, bobinage, devanado, bobinado, \
    avvolgimento, wikkeling, uzwojeni, lindning, vinuti, kaamityksen";
const OF_AIR: &str = "ambient, air, room, umgebung, luft, raum, ambiant, ambiente, aria, aire, \
    omgeving, lucht, otoczeni, omgivning, rum, okoli";
const CASE: &str = "pe, e, gnd, earth, ground, case, frame, erde, masse, gehause, korper, terre, \
    tierra, masa, terra, massa, carcassa, aarde, ziemia, obudowa, pen, jord, stomme, zem, g";
const OVER: &str = "over, ol, ovl, ofl, ovr, ovfl, hi, overload, overflow, over range, overrange, \
    above range, out of range, off scale, inf, infinity, infinite, unendlich, uberlauf, ul, \
    uber bereich, bereich uberschritten, infini, hors gamme, depassement, infinito, fuera de rango, \
    sobrerrango, fuori scala, fuori portata, buiten bereik, overbereik, oneindig, poza zakresem, \
    powyzej zakresu, utanfor omrade, over omrade, oandlig";
const UNDER: &str = "under, udl, lo, low range, under range, underrange, below range, \
    unter bereich, bajo rango, sotto scala, onder bereik, ponizej zakresu, under omrade";
const EMPTY: &str = "n a, na, none, null, nil, not tested, not measured, skipped, no reading, \
    nicht gemessen, n g, k a, entfallt, non mesure, n m, non teste, no medido, no probado, \
    non misurato, non eseguito, niet gemeten, nvt, n v t, nie mierzono, brak, ej matt, ej provad";
const FINE: &str = "ok, good, pass, passed, valid, in range, gut, i o, io, bestanden, bon, bien, \
    correcto, buono, goed, dobry, godkand, normal, fail, failed, n i o, nio, nicht bestanden";

/// Names of what no reading holds: counters, verdicts of others, limits, figures derived.
const UNWANTED: &str = "no, nr, num, number, index, row, line, lfd nr, lfdnr, pos, position, lp, \
    pi, dar, dd, ar, id test, test no, test nr, test id, record, result, ergebnis, resultat, \
    resultado, risultato, esito, resultaat, wynik, status test, bewertung, beurteilung, verdict, \
    pass, pass fail, ok, oordeel, ocena, bedomning, checked, signature, unterschrift, memory, slot, \
    speicher, n, numero, numer, nummer, volgnummer, lopnr";
const UNWANTED_WITHIN: &str = "limit, minimum, min, grenzwert, sollwert, limite, seuil, umbral, \
    soglia, grenswaarde, wartosc graniczna, gransvarde, threshold, required, polarization, \
    polarisation, polarisationsindex, absorption, corrected, korrigiert, corrige, corrigee, \
    corregida, corregido, corretta, gecorrigeerd, skorygowana, korrigerad, at 40, 40 c, leakage, \
    current, ableitstrom, strom, courant, corriente, corrente, stroom, prad, strommen, capacitance, \
    kapazitat, capacite, next, due, nachste, prochaine, proxima, prossima, volgende, nastepny, \
    nasta, calibration, kalibrierung, etalonnage, calibracion, taratura, kalibratie, kalibracja, \
    kalibrering, verdict, pass fail, power, leistung, rated, exported, printed, page, seite, \
    version, software, firmware";

const NAMES: &[(Field, &str)] = &[
    (
        Field::TakenAt,
        "taken at, timestamp, time stamp, date time, datetime, date and time, measured at, recorded \
        at, test date time, zeitstempel, zeitpunkt, datum uhrzeit, datum zeit, datum und uhrzeit, \
        messzeitpunkt, prufzeitpunkt, horodatage, date heure, date et heure, fecha hora, fecha y \
        hora, data ora, data e ora, datum tijd, datum en tijd, tijdstempel, tijdstip, data godzina, \
        data i godzina, znacznik czasu, datum tid, datum och tid, tidpunkt, tidsstampel, data hora, \
        data e hora, dato tid, datum cas",
    ),
    (
        Field::Date,
        "date, test date, tested on, measured on, day, datum, prufdatum, messdatum, tag, date de \
        mesure, date d essai, date essai, date du test, jour, fecha, fecha de prueba, fecha ensayo, \
        fecha de medida, dia, data, data prova, data misura, data pomiaru, data badania, testdatum, \
        meetdatum, matdatum, provdatum, dag, dato, data do ensaio, paivamaara",
    ),
    (
        Field::Time,
        "time, clock, time of day, uhrzeit, zeit, heure, heure de mesure, hora, ora, orario, tijd, \
        godzina, czas, tid, klockslag, kl, klokkeslett, kellonaika, cas",
    ),
    (
        Field::Asset,
        "asset, asset id, asset no, asset tag, asset name, motor, motor id, motor no, machine, \
        machine id, machine no, equipment, equipment id, equipment no, unit under test, uut, dut, \
        item, item id, object, object id, tag no, tag id, device under test, prufling, prufobjekt, \
        objekt, maschine, maschinen nr, anlage, anlagen nr, betriebsmittel, antrieb, motor nr, \
        bezeichnung, moteur, machine testee, equipement, repere, objet, no moteur, n moteur, maquina, \
        equipo, activo, elemento, n maquina, macchina, motore, apparecchiatura, impianto, oggetto, \
        matricola motore, installatie, toestel, machinenr, machinenummer, maszyna, silnik, obiekt, \
        urzadzenie, nr silnika, nr maszyny, maskin, utrustning, anlaggning, maskin id, maskinnr, \
        equipamento, laite, stroj",
    ),
    (
        Field::Phase,
        "phase, winding, conductor, lead, test lead, point, test point, measuring point, measurement \
        point, connection, terminal, terminals, core, messstelle, messpunkt, prufpunkt, leiter, \
        wicklung, strang, klemme, point de mesure, point mesure, enroulement, borne, conducteur, \
        fase, punto, punto de medida, punto medida, devanado, conductor, punto di misura, \
        avvolgimento, morsetto, conduttore, meetpunt, wikkeling, klem, ader, faza, punkt pomiarowy, \
        uzwojenie, zacisk, zyla, fas, matpunkt, lindning, anslutning, vaihe",
    ),
    (
        Field::Against,
        "against, to, versus, vs, return, return lead, reference, other lead, gegen, bezug, \
        bezugspunkt, contre, par rapport a, reference point, contra, respecto a, verso, rispetto a, \
        tegen, ten opzichte van, wzgledem, mot, referens, referencia, riferimento, referentie, \
        odniesienie",
    ),
    (
        Field::Setup,
        "setup, set up, configuration, test setup, schaltung, aufbau, prufaufbau, montage, \
        configuracion, montaje, configurazione, opstelling, konfiguracja, uklad, uppstallning, \
        koppling",
    ),
    (
        Field::Resistance,
        "resistance, insulation resistance, resistance ohm, insulation, ir, ir value, riso, r iso, r, rins, r ins, \
        rinsulation, megohm, megohms, meg ohm, mohm, gohm, kohm, ohm, ohms, m, reading, measured value, measured \
        resistance, value, isolationswiderstand, widerstand, isolation, messwert, isowiderstand, iso \
        widerstand, risol, resistance d isolement, resistance isolement, isolement, ris, r isol, valeur \
        mesuree, valeur, resistencia de aislamiento, resistencia aislamiento, resistencia, \
        aislamiento, raisl, valor medido, valor, resistenza di isolamento, resistenza isolamento, \
        resistenza, isolamento, valore misurato, valore, isolatieweerstand, weerstand, meetwaarde, \
        rezystancja izolacji, rezystancja, opor izolacji, wartosc zmierzona, isolationsresistans, \
        resistans, isolationsmotstand, motstand, matvarde, isolationsmodstand, isolasjonsmotstand, \
        eristysresistanssi, eristysvastus, resistencia de isolamento, izolacni odpor",
    ),
    (
        Field::ResistanceUnit,
        "unit, units, r unit, riso unit, resistance unit, einheit, einheit riso, unite, unites, unidad, \
        unidades, unita, unita di misura, eenheid, jednostka, enhet, enhed, unidade, jednotka",
    ),
    (
        Field::Bound,
        "bound, mark, sign, qualifier, range flag, flag, over range, overrange, status, range \
        status, zeichen, vorzeichen, marke, signe, drapeau, etat, signo, marca, estado, segno, \
        stato, teken, znak, stan, tecken, merkki",
    ),
    (
        Field::FullScale,
        "full scale, range, range limit, range end, measuring range, messbereich, bereich, \
        messbereichsende, endwert, calibre, plage, gamme, etendue, rango, alcance, fondo de escala, \
        campo, portata, fondo scala, bereik, meetbereik, zakres, zakres pomiarowy, matomrade, omrade",
    ),
    (
        Field::TestVoltage,
        "test voltage, nominal voltage, nominal test voltage, voltage, volts, un, u n, unom, utest, \
        u test, vtest, v test, vnom, test v, applied voltage, set voltage, prufspannung, nennspannung, \
        pruf spannung, spannung, upruf, tension d essai, tension essai, tension nominale, tension, \
        tension de prueba, tension de ensayo, tension prueba, tension nominal, voltaje, voltaje de \
        prueba, tensione di prova, tensione nominale, tensione prova, tensione, testspanning, \
        spanning, napiecie probiercze, napiecie pomiarowe, napiecie, napiecie probne, provspanning, \
        testspanning, matspanning, spanning, nominell spanning, koejannite",
    ),
    (
        Field::DeliveredVoltage,
        "delivered voltage, actual voltage, measured voltage, output voltage, terminal voltage, umess, \
        u mess, u actual, uist, u ist, u, vout, v out, vmeas, v meas, actual v, messspannung, \
        istspannung, ist spannung, anliegende spannung, tension mesuree, tension reelle, tension \
        medida, tension real, tensione misurata, tensione effettiva, gemeten spanning, werkelijke \
        spanning, napiecie rzeczywiste, napiecie zmierzone, uppmatt spanning, verklig spanning",
    ),
    (
        Field::Duration,
        "duration, test time, test duration, time applied, seconds, elapsed, elapsed time, timer, \
        dauer, prufdauer, messdauer, prufzeit, messzeit, duree, duree d essai, duree essai, duree du \
        test, duracion, tiempo de ensayo, tiempo de prueba, tiempo prueba, tiempo, durata, durata \
        prova, tempo di prova, tempo, duur, testduur, meettijd, testtijd, czas pomiaru, czas \
        trwania, varaktighet, mattid, provtid, t test, varighed",
    ),
    (
        Field::Temperature,
        "temperature, temp, t, tw, ta, tamb, winding temperature, winding temp, ambient \
        temperature, ambient temp, ambient, air temperature, air temp, room temperature, temperatur, \
        wicklungstemperatur, umgebungstemperatur, lufttemperatur, raumtemperatur, temperature \
        ambiante, temp ambiante, temperature enroulement, temperature bobinage, temperatura, \
        temperatura ambiente, temp ambiente, temperatura devanado, temperatura bobinado, temperatura \
        avvolgimento, temperatuur, omgevingstemperatuur, wikkelingstemperatuur, temperatura \
        otoczenia, temperatura uzwojenia, lindningstemperatur, omgivningstemperatur, lampotila",
    ),
    (
        Field::Humidity,
        "humidity, rh, rel humidity, relative humidity, feuchte, luftfeuchte, rel feuchte, relative \
        feuchte, luftfeuchtigkeit, humidite, humidite relative, humedad, humedad relativa, umidita, \
        umidita relativa, vochtigheid, luchtvochtigheid, wilgotnosc, luftfuktighet, fuktighet, hr, \
        umidade, kosteus",
    ),
    (
        Field::Tester,
        "tester, tester id, tester no, tester serial, tester sn, instrument, instrument id, \
        instrument no, instrument serial, instrument sn, meter, meter id, test set, gerat, prufgerat, messgerat, \
        geratenummer, prufgerat nr, gerate nr, appareil, appareil de mesure, n appareil, instrumento, \
        equipo de medida, aparato, strumento, n strumento, meetinstrument, tester nr, przyrzad, \
        miernik, nr miernika, matinstrument, instrumentnr, mittari",
    ),
    (
        Field::Operator,
        "operator, technician, tested by, measured by, inspector, user, engineer, prufer, bediener, \
        techniker, bearbeiter, monteur, operateur, technicien, controleur, mesure par, operador, \
        tecnico, probado por, operatore, eseguito da, uitvoerder, uitgevoerd door, wykonal, \
        pomiarowiec, technik, wykonawca, tekniker, provare, utford av, matt av, montor, operador",
    ),
    (
        Field::Station,
        "station, bench, location, site, place, workshop, standort, ort, platz, prufplatz, werkstatt, \
        poste, lieu, emplacement, atelier, ubicacion, lugar, puesto, taller, luogo, postazione, sede, \
        officina, locatie, plaats, werkplek, werkplaats, miejsce, stanowisko, lokalizacja, plats, \
        verkstad, sted",
    ),
    (
        Field::Remark,
        "remark, remarks, comment, comments, note, notes, weather, bemerkung, bemerkungen, kommentar, \
        notiz, hinweis, anmerkung, wetter, remarque, remarques, commentaire, commentaires, \
        observation, observations, meteo, observaciones, observacion, comentario, comentarios, nota, \
        notas, osservazioni, commento, commenti, annotazioni, opmerking, opmerkingen, uwagi, uwaga, \
        komentarz, anmarkning, anmarkningar, notering, bemaerkning",
    ),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_in_their_languages() {
        let first = |name: &str| fields(name).first().map(|(field, _)| *field);
        let cases = [
            ("Prüfling", Field::Asset),
            ("Isolationswiderstand", Field::Resistance),
            ("Résistance d'isolement", Field::Resistance),
            ("Tensión de prueba", Field::TestVoltage),
            ("Data i godzina", Field::TakenAt),
            ("Napięcie probiercze", Field::TestVoltage),
            ("Mätvärde", Field::Resistance),
            ("Wikkelingstemperatuur", Field::Temperature),
        ];
        for (name, field) in cases {
            assert_eq!(first(name), Some(field), "{name}");
        }
        for name in ["Resistance limit", "R corrected to 40 °C", "Grenzwert", "PI", "Lfd. Nr."] {
            assert_eq!(first(name), None, "{name}");
        }
    }
}
