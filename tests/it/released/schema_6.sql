PRAGMA application_id = 1835755886;
PRAGMA user_version = 6;
PRAGMA foreign_keys=OFF;
BEGIN TRANSACTION;
CREATE TABLE about (
    name TEXT PRIMARY KEY,
    value TEXT NOT NULL
) STRICT, WITHOUT ROWID;
INSERT INTO about VALUES('checked','2031-04-01');
CREATE TABLE journal (
    seq INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    person TEXT,
    action TEXT NOT NULL,
    kind TEXT NOT NULL,
    tag TEXT,
    old TEXT,
    new TEXT,
    reason TEXT,
    came INTEGER,
    hash TEXT NOT NULL
) STRICT;
INSERT INTO journal VALUES(1,'2031-04-01T00:00:00+00:00',NULL,'import','alloys',NULL,NULL,'{"rows":3,"digest":"99639155cc5ae92f11ccb9839c42ed5226058e7643ce66c885d06ff47336ba76"}',NULL,NULL,'0f2a8fafd2405d88fe2bbb91933b2a9759a2d2289c7c7d56e63bbcc4d8ea93f4');
INSERT INTO journal VALUES(2,'2031-04-01T00:00:00+00:00',NULL,'import','alloy_limits',NULL,NULL,'{"rows":14,"digest":"163f29af92ee993c66098d3745a79181088cf8f1f533ffd98088a3497e657d6f"}',NULL,NULL,'37a6dd44fa873cb6be9e9e00d3fc0afa47400cd4bd7d633978a70305eca63b3b');
INSERT INTO journal VALUES(3,'2031-04-01T00:00:00+00:00',NULL,'import','parts',NULL,NULL,'{"rows":2,"digest":"bcd320a1e6b54e01443fbcfc076ff94d3fedbe2dd2b1d351793acab2d84994b1"}',NULL,NULL,'dc1b89049580173894aa909de98e5190f4a4f44e785a1b9d4434b4eec2b51b66');
INSERT INTO journal VALUES(4,'2031-04-01T00:00:00+00:00',NULL,'import','zones',NULL,NULL,'{"rows":8,"digest":"e91d7b7d5cacbf16e51db28233fa34a0312452a10d05971eead315cf2d81f518"}',NULL,NULL,'49baa0b1090c5117443687308be2794ac596a691adef5df344ea2f67717c4d10');
INSERT INTO journal VALUES(5,'2031-04-01T00:00:00+00:00',NULL,'import','inspection_plans',NULL,NULL,'{"rows":7,"digest":"7a79502aa7b2e6a1be7bed97915790d05795103e600a97c9062e63beaaba24d2"}',NULL,NULL,'3a6e798aa50fb475d3b963d2acef093d03133bb942f3571d95c12749d25b8cf1');
INSERT INTO journal VALUES(6,'2031-04-01T00:00:00+00:00',NULL,'import','defect_terms',NULL,NULL,'{"rows":1,"digest":"dd6d6d3f193826108cc6384d9ad81493c71a51d499e601938dcb6b4e8c6c1e3c"}',NULL,NULL,'f388c489ef13653339bb5c6b296b0f058aeac53ec2ddcccf595e85b8be3f4e2c');
INSERT INTO journal VALUES(7,'2031-04-01T00:00:00+00:00',NULL,'import','shell_recipes',NULL,NULL,'{"rows":2,"digest":"e824b71798653f69cd328a3ce86f1a81b25c733cde93efa30139dfe13cf76baa"}',NULL,NULL,'eb42d93fb752a1a73ec237b5914f8512ea6b810dacfc7767f245ff4d6849a31f');
INSERT INTO journal VALUES(8,'2031-04-01T00:00:00+00:00',NULL,'import','running_systems',NULL,NULL,'{"rows":2,"digest":"c819dd2a895a5b0f6b31cdfabddea31bd009a412a808f3b426e32ad23271807e"}',NULL,NULL,'9c6f5489e7e2c3c922ab3d7050d5b351c5b3d6dd4019d3d595bc5625e328d8fd');
INSERT INTO journal VALUES(9,'2031-04-01T00:00:00+00:00',NULL,'import','own_fields',NULL,NULL,'{"rows":1,"digest":"0c9093b39b2b5e9060b9d0468dc10590d676a5d4fa9ff9b38b6ef32f698f9c09"}',NULL,NULL,'ed85ede767d13b44af8e66ee4dbb41aa4038eba2f7d5cdcd3679aa645869b51e');
INSERT INTO journal VALUES(10,'2031-04-01T00:00:00+00:00',NULL,'import','instruments',NULL,NULL,'{"rows":6,"digest":"79722d01011572930d11c48cab1676d3b3b747b6d3af9405367372fccc1f6cd5"}',NULL,NULL,'11dae411cef585d515248d6e03dfaf1296b41081ac720aba34af62f5310e988a');
INSERT INTO journal VALUES(11,'2031-04-01T00:00:00+00:00',NULL,'import','calibrations',NULL,NULL,'{"rows":6,"digest":"df16614d8e93967ff209786203993e52498832807c7a8e3dfc98868f7e6cc118"}',NULL,NULL,'da71c05b9386e0256d9deac14214fc5bd071a59e87be41f47ddc77d17765d9c5');
INSERT INTO journal VALUES(12,'2031-04-01T00:00:00+00:00',NULL,'import','people',NULL,NULL,'{"rows":16,"digest":"4ef769cff1993477860221343a899392e9e370b219512cfcb563704c7f6d3015"}',NULL,NULL,'f2ee949d33de07f7013320c0b0fc22261f6a90f1600463f32881feb191e70386');
INSERT INTO journal VALUES(13,'2031-04-01T00:00:00+00:00',NULL,'import','qualifications',NULL,NULL,'{"rows":2,"digest":"140845ff62fe8542a8643134a8e66925c17d18a2fdc35f4281e4aaf3a7170d30"}',NULL,NULL,'73db1db0233a3946c8accaeb30215e7ecf2cba887fe4f4af2262563cf668c246');
INSERT INTO journal VALUES(14,'2031-04-01T00:00:00+00:00',NULL,'import','process_limits',NULL,NULL,'{"rows":9,"digest":"fd51fdf47cb7e73406f58ea9ec4ed8a12c38d612e0b017dc7f4e2d4427a49260"}',NULL,NULL,'c26f60c51ea6a9afde08cd72711df6c117e439d3bb4d32bd1721def497064215');
INSERT INTO journal VALUES(15,'2031-04-01T00:00:00+00:00',NULL,'import','ingot_lots',NULL,NULL,'{"rows":4,"digest":"d0d397793baaac0d5d1796cbab84097684ad24dbe3d3dee5a33672e2c8d8144e"}',NULL,NULL,'72a26a5a29ebd2fa0b74fafdd35c685b775f5de1322c890d2cd972f8d607d872');
INSERT INTO journal VALUES(16,'2031-04-01T00:00:00+00:00',NULL,'import','revert_lots',NULL,NULL,'{"rows":3,"digest":"55258549c735f3468de0e928790b80e1a7845a10710ea443b13eddf3802b83cc"}',NULL,NULL,'5b36e193f776538b83e486c9b55ff166faf30375ade685f98fc61d0f5c430ed5');
INSERT INTO journal VALUES(17,'2031-04-01T00:00:00+00:00',NULL,'import','heats',NULL,NULL,'{"rows":13,"digest":"dc370029a9e291f7d5f163480dbf74eb374ef723ff8971ecf21d979e2417e9ee"}',NULL,NULL,'e24ca7cc05d52fdbd6666b321b4d67824a44b1fa00812c62b5f1caacd2f1941e');
INSERT INTO journal VALUES(18,'2031-04-01T00:00:00+00:00',NULL,'import','revert_sources',NULL,NULL,'{"rows":12,"digest":"fe7470153c453209491c5a3c11fe4eccce7b81acbfe69c8a0aa0860185f19aeb"}',NULL,NULL,'1c6113afb1cb274224c097d7615d7cb3819f9d39f30c3cd6cf3e67643e34acb2');
INSERT INTO journal VALUES(19,'2031-04-01T00:00:00+00:00',NULL,'import','charges',NULL,NULL,'{"rows":13,"digest":"e17dc325905be9a5ef61446ef3ccb066811397a8af2c08969f332f203f7db7b1"}',NULL,NULL,'0cc5c614725f344f99b6c2d913b5589c92a296d779c5780c3b462a0a8637229f');
INSERT INTO journal VALUES(20,'2031-04-01T00:00:00+00:00',NULL,'import','analyses',NULL,NULL,'{"rows":2,"digest":"6d72781ca1bf1e157e1f0442f24f768d067b9e5a089015144a5972ebd2842799"}',NULL,NULL,'b6b5f6793fa76755e30616ad6ce5c3f330f363456d476d5e3cbf3802196d8600');
INSERT INTO journal VALUES(21,'2031-04-01T00:00:00+00:00',NULL,'import','analysis_values',NULL,NULL,'{"rows":2,"digest":"328690b8d697f579803aef62a80f2c35b8b0e8855a24db2521581fa979308438"}',NULL,NULL,'8ae4722c334e8be1cb524038d3054130bdfeddca962ae36cd0672004b518019c');
INSERT INTO journal VALUES(22,'2031-04-01T00:00:00+00:00',NULL,'import','wax_lots',NULL,NULL,'{"rows":3,"digest":"264679164a9f74a552861d77936c15918f7b5b908ade3b64939bc51670c1b315"}',NULL,NULL,'651d6ec69e51f7553518bcacab8015c0cea355fc374f71fa820c26a1cf2bb0f5');
INSERT INTO journal VALUES(23,'2031-04-01T00:00:00+00:00',NULL,'import','pattern_runs',NULL,NULL,'{"rows":11,"digest":"f033b44c1cab7a88ec6cff51fb0468cb0bfb3c2ead44f2196e1194a437472a74"}',NULL,NULL,'274ff8b6fa4284fe703bcdde1cea2ce9211b20627ef5871d5482c26567ea9773');
INSERT INTO journal VALUES(24,'2031-04-01T00:00:00+00:00',NULL,'import','filter_lots',NULL,NULL,'{"rows":3,"digest":"b84660990cd478955b6aa5af148fc5f1209528deeb5d52e8539256860c98a19b"}',NULL,NULL,'d77f80cb940b48c8ba05fa1c1ce93c52ee14e4d8205fe8beb40618fa5dfa127d');
INSERT INTO journal VALUES(25,'2031-04-01T00:00:00+00:00',NULL,'import','slurry_batches',NULL,NULL,'{"rows":6,"digest":"1421bbcf48b8a03c36073109b7f2380f6667ab115b757fb1c86cbf556ab02f69"}',NULL,NULL,'babc9832dea3cf28107b264964212299e873a3c96319a4ef9cd1fd0ad280adb5');
INSERT INTO journal VALUES(26,'2031-04-01T00:00:00+00:00',NULL,'import','slurry_checks',NULL,NULL,'{"rows":12,"digest":"7b8370c29194af4d1e5f4dc2a489d9e49f22776bef2c74e30b8476f2e54558c8"}',NULL,NULL,'3e6d3aa74fa3c39f91cae5bd7118548b23101cb9348aaa27853066053f69af5b');
INSERT INTO journal VALUES(27,'2031-04-01T00:00:00+00:00',NULL,'import','stucco_lots',NULL,NULL,'{"rows":4,"digest":"fa31596411b13af738dc4edf20f7d6ac15b4162f30272d3da111fc9cafd74876"}',NULL,NULL,'fc78ff3fbc9c5645704c2e50ebae84df7dd23644ae8278fbee818718267766ad');
INSERT INTO journal VALUES(28,'2031-04-01T00:00:00+00:00',NULL,'import','shell_batches',NULL,NULL,'{"rows":10,"digest":"0112d6add90dbf0fcc185671fdc4db7ef85743ee6ccdde6743ea01f334616f66"}',NULL,NULL,'a57cd6ce33742f4b98e694d60466d48a677d71301d85720cbdfaca65f1a985d4');
INSERT INTO journal VALUES(29,'2031-04-01T00:00:00+00:00',NULL,'import','moulds',NULL,NULL,'{"rows":14,"digest":"42af2bcafeffc5cd2bf59b54a59341e2d1de380f3e4baa22bc4aa011d9175725"}',NULL,NULL,'2b85cf41702a554be756ed3de1d887ad1c781c2d9b6c42d6a4958e42bc7450c9');
INSERT INTO journal VALUES(30,'2031-04-01T00:00:00+00:00',NULL,'import','coats',NULL,NULL,'{"rows":4,"digest":"eb7be4644e44370f80468b965d866eeb4493152ee7cd576245c2db34335b4e41"}',NULL,NULL,'1678aef4a9730fa2a330ad193b08bf839120ed245bd0d079a0a59703db6c1bbf');
INSERT INTO journal VALUES(31,'2031-04-01T00:00:00+00:00',NULL,'import','pour_plans',NULL,NULL,'{"rows":12,"digest":"1b3c801eadaefee806d072b309767bfcd379243ec583360c7ebbc5d38c3f8b64"}',NULL,NULL,'d29b48b08b7c55d421a85bc546fd459644ace9e3185bea51ec5d1123e4c03e8d');
INSERT INTO journal VALUES(32,'2031-04-01T00:00:00+00:00',NULL,'import','pours',NULL,NULL,'{"rows":14,"digest":"cd793be3b1faca98858b92461f0a9233be99637a57920ebd39f0693341d5fdb0"}',NULL,NULL,'fa3b61419ae23f5cc3bd98cc82e0671445b56c4f1e6f2629b3ec7cad2ce9573c');
INSERT INTO journal VALUES(33,'2031-04-01T00:00:00+00:00',NULL,'import','blades',NULL,NULL,'{"rows":16,"digest":"3f08a562aa4daa24c6e9efe2253645688c4d9dc443c3d1cd7d35431ef82c1d21"}',NULL,NULL,'d632995f33eeaf37d4ec79bab55fbc9855651e2fdb0f641cdce9c7124f9978f8');
INSERT INTO journal VALUES(34,'2031-04-01T00:00:00+00:00',NULL,'import','inspections',NULL,NULL,'{"rows":8,"digest":"e1ba05e1f6dd3b377a6751547b20e004eeb0b1ba0a5a67311c94e007f8825072"}',NULL,NULL,'95c85233beb49e9eef3c18eedeed2648e19e1abf01824a964eae70dc92912da1');
INSERT INTO journal VALUES(35,'2031-04-01T00:00:00+00:00',NULL,'import','findings',NULL,NULL,'{"rows":1,"digest":"afeab811615e87afac866a4a836a712ae4b59a2e82742d0b15cea55d0fbdb788"}',NULL,NULL,'6c2147d14332a766193de89141cb35b28f16bbbbeb07f86356d77952e839bee2');
INSERT INTO journal VALUES(36,'2031-04-01T00:00:00+00:00',NULL,'import','lots',NULL,NULL,'{"rows":4,"digest":"24f92006fdf84b94b89e49c7303fb9d8391eb5f67dede46994f7463db1b4339e"}',NULL,NULL,'679d4be39555f1bf72650c3654091130b23ac27ece37390d9360bc2daa30ad76');
INSERT INTO journal VALUES(37,'2031-04-01T00:00:00+00:00',NULL,'import','lot_blades',NULL,NULL,'{"rows":16,"digest":"103b7a7767a710a5e277ef85dd05b52662489efe6547163a9ae88210f5d9267d"}',NULL,NULL,'0c734018e97935658409dc0bc8e7ca627d3ea14b5c3d7e20c13fafcbbbd4a8c9');
INSERT INTO journal VALUES(38,'2031-04-01T00:00:00+00:00',NULL,'import','concessions',NULL,NULL,'{"rows":2,"digest":"c2f236be73ee74a355eddd8937c9925a8b2f82701839fc3fd5baeeeb72bff342"}',NULL,NULL,'9cd6c0434110fede890b92a0ba98f822b39e267fe7896dd02ae4983ad8c215a2');
INSERT INTO journal VALUES(39,'2031-04-01T00:00:00+00:00',NULL,'import','dispositions',NULL,NULL,'{"rows":16,"digest":"af327c2ce29809da630e7d099c437936f66e009e5aad6d3ea8e49e7cd5e5c0fd"}',NULL,NULL,'a6a3ca68c6ca0f8c0abd71fd4084c4df4c8cd0e0ef9c4378533ac158b5dfbf2e');
INSERT INTO journal VALUES(40,'2031-04-01T00:00:00+00:00',NULL,'import','holds',NULL,NULL,'{"rows":1,"digest":"8c386230075581ac09299ba1f6788143811bce6698020913ce53d8e1b9cdab50"}',NULL,NULL,'1409e7a97a9158f8d27c57ef0d9d4a04bc4583b97d167d3789da7f7f89ba031e');
INSERT INTO journal VALUES(41,'2031-04-01T00:00:00+00:00',NULL,'import','signatures',NULL,NULL,'{"rows":1,"digest":"ef2b55a0e2c74a6ad4c431c37849850a96973a3b3672c9e71e4de9ea24101f03"}',NULL,NULL,'df10994c85f76632131307fbbab251a28df5e2032ab44782161ea14db4e5bdd5');
INSERT INTO journal VALUES(42,'2031-04-01T00:00:00+00:00',NULL,'import','costs',NULL,NULL,'{"rows":7,"digest":"e2081e9a056f85025638edc517b89731e57c503a3888371f608165f7e745f583"}',NULL,NULL,'e397a848d8eba36c019417765b6a5a6806d2e03119e91c6f45cd4b0c0137988a');
INSERT INTO journal VALUES(43,'2031-04-01T00:00:00+00:00',NULL,'log','settings','settings:clock_given',NULL,'settings {"setting":"clock_given","value":"yes"}','made under a clock given from outside',NULL,'fd6071ec9cca5e224777154ea05394ae07752c6338409aa85ffe23b56a75a147');
INSERT INTO journal VALUES(44,'2031-04-01T00:00:00+00:00','QL-91','log','people','OP-51',NULL,'people {"person":"OP-51","recorded_at":"2031-04-01T00:00:00+00:00","recorded_by":"QL-91","role":"quality"}',NULL,NULL,'14751d170dd242e5e4eaaba0c1bddf7956fce85dd4a8ccfc14cc9c57eddfa022');
INSERT INTO journal VALUES(45,'2031-04-01T00:00:00+00:00',NULL,'log','filter_lots','FL-A',NULL,'filter_lots {"filter_lot":"FL-A","ppi":"10","received_at":"2031-03-30T00:00:00+00:00","received_count":"12","recorded_at":"2031-04-01T00:00:00+00:00"}',NULL,NULL,'67b301e3f48556ea4ea9bcf31ee2fdf08964252613033dff92b81813e5a03ed6');
INSERT INTO journal VALUES(46,'2031-04-01T00:00:00+00:00','OP-02','log','filter_lots','FL-B',NULL,'filter_lots {"filter_lot":"FL-B","note":"read twice","ppi":"<12","received_at":"2031-03-30T00:00:00+00:00","recorded_at":"2031-04-01T00:00:00+00:00","recorded_by":"OP-02"}',NULL,NULL,'96760db594d8c86c34ecbfaa015f75467236c4d052721db7bbe141f36a3bdce6');
INSERT INTO journal VALUES(47,'2031-04-01T00:00:00+00:00',NULL,'log','moulds','M31-900',NULL,'moulds {"assembled_at":"2031-03-30T00:00:00+00:00","cup_tilt_deg":"<0.5","mould":"M31-900","part":"QB-2207@C","recorded_at":"2031-04-01T00:00:00+00:00","running_system":"RS-4@A"}',NULL,NULL,'61be33e9abb8c65417d121cba11091d10f656644c5292a4c347f69870ca00441');
INSERT INTO journal VALUES(48,'2031-04-01T00:00:00+00:00','OP-02','correct','filter_lots','FL-A','filter_lots {"filter_lot":"FL-A","ppi":"10","received_at":"2031-03-30T00:00:00+00:00","received_count":"12","recorded_at":"2031-04-01T00:00:00+00:00"}','filter_lots {"filter_lot":"FL-A","ppi":"20","received_at":"2031-03-30T00:00:00+00:00","received_count":"12","recorded_at":"2031-04-01T00:00:00+00:00"}','misread',45,'ba073eb2bd8a1a9661bed6af377d304d045df9ae9f2ae856048f8a4ceda09579');
INSERT INTO journal VALUES(49,'2031-04-01T00:00:00+00:00',NULL,'correct','pours','pours:M31-002','pours {"heat":"H31-001","indicated_c":"1477","mass_kg":"5.299","mould":"M31-002","mould_c":"1025","person":"OP-07","pour_order":"2","pour_s":"3.5","poured_at":"2031-03-04T09:13:00+00:00","pyrometer":"PYR-02","recorded_at":"2031-03-04T09:21:00+00:00","recorded_by":"OP-07","run_out":"no","seal_state":"tight","transfer_s":"87"}','pours {"heat":"H31-001","indicated_c":"1478","mass_kg":"5.299","mould":"M31-002","mould_c":"1025","person":"OP-07","pour_order":"2","pour_s":"3.5","poured_at":"2031-03-04T09:13:00+00:00","pyrometer":"PYR-02","recorded_at":"2031-03-04T09:21:00+00:00","recorded_by":"OP-07","run_out":"no","seal_state":"tight","transfer_s":"87"}','chart read again',32,'d2c2e9fb369098dda0d46b014dcbb05ac4cdf63bddf236cf965f066173a84a6a');
INSERT INTO journal VALUES(50,'2031-04-01T00:00:00+00:00',NULL,'log','core_lots','CL-X',NULL,'core_lots {"core_lot":"CL-X","recorded_at":"2031-04-01T00:00:00+00:00"}',NULL,NULL,'e22a51ce492fdfe90450dc748cf8d97d727a0e27738462c26186f1bdcc343c98');
INSERT INTO journal VALUES(51,'2031-04-01T00:00:00+00:00',NULL,'undo','core_lots','CL-X','core_lots {"core_lot":"CL-X","recorded_at":"2031-04-01T00:00:00+00:00"}',NULL,'entry 50 taken back within a minute',50,'641470000c57c53d676b2cad501fcbeb156d2cc733e2dfae05e719f779f68450');
INSERT INTO journal VALUES(52,'2031-04-01T00:00:00+00:00','OP-51','hold','holds','HOLD-CYMKEC',NULL,'holds {"hold":"HOLD-CYMKEC","person":"OP-51","placed_at":"2031-04-01T00:00:00+00:00","reason":"slag seen","recorded_at":"2031-04-01T00:00:00+00:00","recorded_by":"OP-51","subject":"M31-002"}',NULL,NULL,'c41f1d7662c7d259fce4e2424416e950ca5c0e75b50113aafdfbe9ab45bffdcc');
INSERT INTO journal VALUES(53,'2031-04-01T00:00:00+00:00','OP-51','lift','holds','HOLD-CYMKEC','holds {"hold":"HOLD-CYMKEC","person":"OP-51","placed_at":"2031-04-01T00:00:00+00:00","reason":"slag seen","recorded_at":"2031-04-01T00:00:00+00:00","recorded_by":"OP-51","subject":"M31-002"}','holds {"hold":"HOLD-CYMKEC","lifted_at":"2031-04-01T00:00:00+00:00","lifted_by":"OP-51","lifted_reason":"cleared","person":"OP-51","placed_at":"2031-04-01T00:00:00+00:00","reason":"slag seen","recorded_at":"2031-04-01T00:00:00+00:00","recorded_by":"OP-51","subject":"M31-002"}','cleared',52,'5f9291be754bae73a711f4123c36aa80c438d93783d90db16700c43c34d83a8b');
INSERT INTO journal VALUES(54,'2031-04-01T00:00:00+00:00','OP-51','hold','holds','HOLD-CC7C44',NULL,'holds {"hold":"HOLD-CC7C44","person":"OP-51","placed_at":"2031-04-01T00:00:00+00:00","reason":"humidity log missing","recorded_at":"2031-04-01T00:00:00+00:00","recorded_by":"OP-51","subject":"SB31-01"}',NULL,NULL,'68ee6f1d1e080ac46fafc4ac0b41b3a5f7c151ecf742ab4483082a1c5e42dad5');
INSERT INTO journal VALUES(55,'2031-04-01T00:00:00+00:00',NULL,'log','retags','retags:M31-002/2031-03-30T00:00:00+00:00',NULL,'retags {"changed_at":"2031-03-30T00:00:00+00:00","new_tag":"M31-002X","old_tag":"M31-002","recorded_at":"2031-04-01T00:00:00+00:00"}',NULL,NULL,'bbc40c4f4c714407a7601eb4c79e1a2e326f0c5e27c3affba54877873aa72f7e');
INSERT INTO journal VALUES(56,'2031-04-01T00:00:00+00:00','QL-91','log','qualifications','qualifications:IN-91/visual/2031-01-01',NULL,'qualifications {"expires_on":"2033-01-01","from_on":"2031-01-01","level":"2","method":"visual","person":"IN-91","recorded_at":"2031-04-01T00:00:00+00:00","recorded_by":"QL-91"}',NULL,NULL,'045b89b727256351bb904de5be0bacce248e2c40eac08020a4b0227061a47be6');
INSERT INTO journal VALUES(57,'2031-04-01T00:00:00+00:00',NULL,'log','blades','B-91',NULL,'blades {"blade":"B-91","mould":"M31-001","position":"11","recorded_at":"2031-04-01T00:00:00+00:00"}','found without a mark',NULL,'cbbe599f7d7c9c85bf01769d1901b61bb31740ad6d4eadfea04c21076db4a9e0');
INSERT INTO journal VALUES(58,'2031-04-01T00:00:00+00:00',NULL,'correct','heats','H31-001','heats {"@":"alloy","alloy":"QA-713/3@","crucible":"CR31-01","crucible_life":"1","furnace":"VF-1","heat":"H31-001","hold_min":"10.4","leak_mbar_l_s":"0.024","melt_in_at":"2031-03-04T08:44:00+00:00","melted_at":"2031-03-04T08:11:00+00:00","person":"OP-07","power_kw":"60.1","recorded_at":"2031-03-04T09:18:00+00:00","recorded_by":"OP-07","vacuum_mbar":"0.0061"}','heats {"alloy":"QA-713/3@","crucible":"C-2","crucible_life":"1","furnace":"VF-1","heat":"H31-001","hold_min":"10.4","leak_mbar_l_s":"0.024","melt_in_at":"2031-03-04T08:44:00+00:00","melted_at":"2031-03-04T08:11:00+00:00","person":"OP-07","power_kw":"60.1","recorded_at":"2031-03-04T09:18:00+00:00","recorded_by":"OP-07","vacuum_mbar":"0.0061"}','from the card',17,'1c2f7815e57a1e4cfd9c99cc4910b480e5d6da14b356f5fed246bacff01586f4');
INSERT INTO journal VALUES(59,'2031-04-01T00:00:00+00:00',NULL,'log','samples','SA-91',NULL,'samples {"kind":"retained","recorded_at":"2031-04-01T00:00:00+00:00","sample":"SA-91","subject":"QB-91@C"}',NULL,NULL,'dac4ac653b86b716bde98fa2e9218f4c2c4d64d994300c06e588ae2f14b44e0a');
INSERT INTO journal VALUES(60,'2031-04-01T00:00:00+00:00','QL-91','sign','signatures','signatures:L91-01/QL-91/2031-04-01T00:00:00+00:00',NULL,'signatures {"meaning":"released","note":"rules 2; content 855bce35c66a43c795cab4eecfcf868edcd1dfc9fe8e1167a9f470ea7a657349; journal entry 59 dac4ac653b86b716bde98fa2e9218f4c2c4d64d994300c06e588ae2f14b44e0a; name as claimed","person":"QL-91","recorded_at":"2031-04-01T00:00:00+00:00","recorded_by":"QL-91","role":"quality","signed_at":"2031-04-01T00:00:00+00:00","subject":"L91-01"}',NULL,NULL,'96d412bba807817172587916679026992353ffb6d795a5c9b14ffcabb4f36545');
INSERT INTO journal VALUES(61,'2031-04-01T00:00:00+00:00',NULL,'log','settings','settings:sheet mapping boxes',NULL,'settings {"recorded_at":"2031-04-01T00:00:00+00:00","setting":"sheet mapping boxes","value":"{\"kind\":\"filter_lots\",\"header\":1,\"sheet\":null,\"columns\":[[\"filter_lot\",\"Box\"],[\"received_at\",\"Came\"]],\"fill\":[],\"words\":[],\"only\":[],\"habits\":{\"decimal_comma\":false,\"dates\":null,\"offset\":\"+00:00\",\"hour\":null,\"blanks\":[]}}"}',NULL,NULL,'0d4f1104d82b4a749543840eb3c85eb30011eea7ed018c3513b85b0eeabe08cd');
INSERT INTO journal VALUES(62,'2031-04-01T00:00:00+00:00','OP-51','pin','pins','OP-51',NULL,'pins {"sha256":"5d480bd48aee38ecae9b1dacb8c1a062a04da9550257ca8d3da4bf4fad825d8e"}','first PIN of OP-51, who is quality',NULL,'0a5d4f7e6df075ec1aecab1bb04dc651b7fcb9a34c2c8c403aeb9d94440b8401');
CREATE TABLE alloys (
    id INTEGER PRIMARY KEY,
    alloy TEXT NOT NULL,
    revision TEXT NOT NULL,
    liquidus_c REAL,
    solidus_c REAL,
    density_g_cm3 REAL,
    revert_max_pct REAL,
    source TEXT,
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
INSERT INTO alloys VALUES(1,'QA-713/3','',1288.0,1260.0,7.9100000000000001421,50.0,'invented house specification; liquidus and solidus after Nickel Institute Publication 337','2030-01-01','OP-51','2029-12-20',NULL,NULL,NULL,NULL,1,7322728835134307272);
INSERT INTO alloys VALUES(2,'QA-91','A',1288.0,NULL,NULL,NULL,NULL,'2029-01-01','QL-91','2030-01-01',NULL,NULL,NULL,NULL,1,5478772572761144658);
INSERT INTO alloys VALUES(3,'QA-91','B',1288.0,NULL,NULL,NULL,NULL,'2031-01-15','QL-91','2030-01-01',NULL,NULL,NULL,NULL,1,8222508040565397452);
CREATE TABLE alloy_limits (
    alloy INTEGER NOT NULL REFERENCES alloys (id),
    element TEXT NOT NULL,
    min REAL,
    max REAL,
    unit TEXT NOT NULL CHECK (unit = 'wt%' OR unit = 'ppm'),
    source TEXT,
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (alloy, element)
) STRICT, WITHOUT ROWID;
INSERT INTO alloy_limits VALUES(1,'Al',5.5,6.5,'wt%','invented house specification',NULL,NULL,NULL,NULL,NULL,NULL,NULL,2,-3005753990710448432);
INSERT INTO alloy_limits VALUES(1,'B',0.005000000000000000104,0.014999999999999999444,'wt%','invented house specification',NULL,NULL,NULL,NULL,NULL,NULL,NULL,2,-6215121540166825834);
INSERT INTO alloy_limits VALUES(1,'C',0.080000000000000001665,0.2000000000000000111,'wt%','invented house specification',NULL,NULL,NULL,NULL,NULL,NULL,NULL,2,8955832300744789635);
INSERT INTO alloy_limits VALUES(1,'Cr',12.0,14.0,'wt%','invented house specification',NULL,NULL,NULL,NULL,NULL,NULL,NULL,2,-4152266095035592496);
INSERT INTO alloy_limits VALUES(1,'Mo',3.7999999999999998223,5.2000000000000001776,'wt%','invented house specification',NULL,NULL,NULL,NULL,NULL,NULL,NULL,2,8561156764383243592);
INSERT INTO alloy_limits VALUES(1,'N',NULL,35.0,'ppm','invented house specification',NULL,NULL,NULL,NULL,NULL,NULL,NULL,2,-4205434496584197851);
INSERT INTO alloy_limits VALUES(1,'Nb',1.8000000000000000444,2.7999999999999998223,'wt%','invented house specification',NULL,NULL,NULL,NULL,NULL,NULL,NULL,2,-2683897889606897058);
INSERT INTO alloy_limits VALUES(1,'O',NULL,25.0,'ppm','invented house specification',NULL,NULL,NULL,NULL,NULL,NULL,NULL,2,1628941506931016199);
INSERT INTO alloy_limits VALUES(1,'Pb',NULL,5.0,'ppm','invented house specification',NULL,NULL,NULL,NULL,NULL,NULL,NULL,2,5598950134687736923);
INSERT INTO alloy_limits VALUES(1,'S',NULL,50.0,'ppm','invented house specification',NULL,NULL,NULL,NULL,NULL,NULL,NULL,2,1315194254384179921);
INSERT INTO alloy_limits VALUES(1,'Ti',0.5,1.0,'wt%','invented house specification',NULL,NULL,NULL,NULL,NULL,NULL,NULL,2,7747863946083805667);
INSERT INTO alloy_limits VALUES(1,'Zr',0.050000000000000002775,0.14999999999999999444,'wt%','invented house specification',NULL,NULL,NULL,NULL,NULL,NULL,NULL,2,7354587181156940845);
INSERT INTO alloy_limits VALUES(2,'O',NULL,25.0,'ppm',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,2,548438212123758256);
INSERT INTO alloy_limits VALUES(3,'O',NULL,25.0,'ppm',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,2,3605805155335774408);
CREATE TABLE parts (
    id INTEGER PRIMARY KEY,
    part TEXT NOT NULL,
    revision TEXT NOT NULL,
    alloy INTEGER NOT NULL REFERENCES alloys (id),
    mass_g REAL,
    inspection_class TEXT,
    description TEXT,
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
INSERT INTO parts VALUES(1,'QB-2207','C',1,210.0,'2','solid blade, 118 mm, trailing edge 0.6 mm (invented)','2030-06-01','OP-41','2030-05-20',NULL,NULL,NULL,NULL,3,8821789851733541660);
INSERT INTO parts VALUES(2,'QB-91','C',3,NULL,NULL,NULL,NULL,'QL-91','2030-01-01',NULL,NULL,NULL,'{"alloy":"QA-91@B"}',3,6241122579584351610);
CREATE TABLE zones (
    part INTEGER NOT NULL REFERENCES parts (id),
    zone TEXT NOT NULL,
    name TEXT NOT NULL,
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (part, zone)
) STRICT, WITHOUT ROWID;
INSERT INTO zones VALUES(1,'AF','aerofoil',NULL,NULL,NULL,NULL,NULL,NULL,NULL,4,-1909531613534794420);
INSERT INTO zones VALUES(1,'GT','gate',NULL,NULL,NULL,NULL,NULL,NULL,NULL,4,-1099633884112471485);
INSERT INTO zones VALUES(1,'LE','leading edge',NULL,NULL,NULL,NULL,NULL,NULL,NULL,4,721802916330944000);
INSERT INTO zones VALUES(1,'PL','platform',NULL,NULL,NULL,NULL,NULL,NULL,NULL,4,-3938757652197818853);
INSERT INTO zones VALUES(1,'RT','root',NULL,NULL,NULL,NULL,NULL,NULL,NULL,4,-208537581643993890);
INSERT INTO zones VALUES(1,'TE','trailing edge',NULL,NULL,NULL,NULL,NULL,NULL,NULL,4,-5825743979141843083);
INSERT INTO zones VALUES(1,'TP','tip',NULL,NULL,NULL,NULL,NULL,NULL,NULL,4,-444935325121667460);
INSERT INTO zones VALUES(2,'AF','aerofoil',NULL,NULL,NULL,NULL,NULL,NULL,NULL,4,-7146108328420137387);
CREATE TABLE inspection_plans (
    part INTEGER NOT NULL REFERENCES parts (id),
    method TEXT NOT NULL CHECK (method = 'visual' OR method = 'penetrant' OR method = 'radiograph' OR method = 'dimensional' OR method = 'grain' OR method = 'wall_thickness'),
    required TEXT NOT NULL CHECK (required = 'yes' OR required = 'no'),
    sampling TEXT,
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (part, method)
) STRICT, WITHOUT ROWID;
INSERT INTO inspection_plans VALUES(1,'dimensional','yes','all',NULL,NULL,NULL,NULL,NULL,NULL,NULL,5,8039011513040177407);
INSERT INTO inspection_plans VALUES(1,'grain','no','two blades of every fourth mould',NULL,NULL,NULL,NULL,NULL,NULL,NULL,5,4745834536720175555);
INSERT INTO inspection_plans VALUES(1,'penetrant','yes','all',NULL,NULL,NULL,NULL,NULL,NULL,NULL,5,9030264737138484873);
INSERT INTO inspection_plans VALUES(1,'radiograph','yes','all',NULL,NULL,NULL,NULL,NULL,NULL,NULL,5,8902963242207699124);
INSERT INTO inspection_plans VALUES(1,'visual','yes','all',NULL,NULL,NULL,NULL,NULL,NULL,NULL,5,-4609651481449155243);
INSERT INTO inspection_plans VALUES(2,'penetrant','yes','all',NULL,NULL,NULL,NULL,NULL,NULL,NULL,5,4636860876839892318);
INSERT INTO inspection_plans VALUES(2,'radiograph','yes','all',NULL,NULL,NULL,NULL,NULL,NULL,NULL,5,-6914834656591959791);
CREATE TABLE defect_terms (
    id INTEGER PRIMARY KEY,
    defect TEXT NOT NULL,
    name TEXT NOT NULL,
    description TEXT,
    source TEXT,
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
INSERT INTO defect_terms VALUES(1,'inclusion','inclusion',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,6,-5693725371282115354);
CREATE TABLE shell_recipes (
    id INTEGER PRIMARY KEY,
    recipe TEXT NOT NULL,
    revision TEXT NOT NULL,
    route TEXT NOT NULL CHECK (route = 'shell' OR route = 'flask'),
    coats INTEGER,
    min_dry_h REAL,
    preheat_c REAL,
    oven_to_pour_max_s REAL,
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
INSERT INTO shell_recipes VALUES(1,'SR-7','B','shell',7,3.0,1050.0,180.0,'2030-03-01','OP-41','2030-02-20',NULL,NULL,NULL,NULL,7,4199782060920105896);
INSERT INTO shell_recipes VALUES(2,'SR-7','C','shell',7,5.0,1050.0,180.0,NULL,NULL,NULL,NULL,NULL,'for trial T31-01 under deviation DV31-01; not approved for production',NULL,7,1805189776545147122);
CREATE TABLE running_systems (
    id INTEGER PRIMARY KEY,
    running_system TEXT NOT NULL,
    revision TEXT NOT NULL,
    fill TEXT NOT NULL CHECK (fill = 'bottom' OR fill = 'top'),
    positions INTEGER NOT NULL,
    head_mm REAL,
    gate_area_mm2 REAL,
    filter TEXT NOT NULL CHECK (filter = 'yes' OR filter = 'no'),
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
INSERT INTO running_systems VALUES(1,'RS-4','A','bottom',8,210.0,96.0,'yes','2030-03-01','OP-41','2030-02-20',NULL,NULL,NULL,NULL,8,5285808177904344066);
INSERT INTO running_systems VALUES(2,'RS-91','','bottom',2,NULL,NULL,'yes',NULL,NULL,'2030-01-01',NULL,NULL,NULL,NULL,8,-2114410933018295273);
CREATE TABLE own_fields (
    record TEXT NOT NULL,
    field TEXT NOT NULL,
    type TEXT NOT NULL CHECK (type = 'number' OR type = 'text' OR type = 'time' OR type = 'yes_no'),
    min REAL,
    max REAL,
    cause TEXT NOT NULL CHECK (cause = 'yes' OR cause = 'no'),
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (record, field)
) STRICT, WITHOUT ROWID;
INSERT INTO own_fields VALUES('moulds','cup_tilt_deg','number',0.0,5.0,'yes',NULL,NULL,NULL,NULL,NULL,NULL,NULL,9,7253257134258802381);
CREATE TABLE instruments (
    id INTEGER PRIMARY KEY,
    instrument TEXT NOT NULL,
    kind TEXT NOT NULL,
    description TEXT,
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
INSERT INTO instruments VALUES(1,'FV-91','film viewer',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,10,8511211675866334266);
INSERT INTO instruments VALUES(2,'PYR-02','pyrometer','two-colour, window of furnace VF-1',NULL,NULL,NULL,NULL,NULL,NULL,NULL,10,-6721218602982008111);
INSERT INTO instruments VALUES(3,'PYR-04','pyrometer','two-colour, window of furnace VF-1',NULL,NULL,NULL,NULL,NULL,NULL,NULL,10,-1669627648253123594);
INSERT INTO instruments VALUES(4,'PYR-91','pyrometer',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,10,-3498629478050782483);
INSERT INTO instruments VALUES(5,'VC-01','viscosity cup','cup 5, prime pots',NULL,NULL,NULL,NULL,NULL,NULL,NULL,10,-2294418653675224128);
INSERT INTO instruments VALUES(6,'VC-02','viscosity cup','cup 4, backup pots',NULL,NULL,NULL,NULL,NULL,NULL,NULL,10,-5409562627871425458);
CREATE TABLE calibrations (
    instrument INTEGER NOT NULL REFERENCES instruments (id),
    checked_at INTEGER NOT NULL,
    "check" TEXT NOT NULL CHECK ("check" = 'calibration' OR "check" = 'cross_check'),
    result TEXT NOT NULL CHECK (result = 'good' OR result = 'failed' OR result = 'not_done'),
    difference REAL,
    unit TEXT,
    due_at INTEGER,
    person TEXT,
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (instrument, checked_at)
) STRICT, WITHOUT ROWID;
INSERT INTO calibrations VALUES(1,7905647001602048,'calibration','good',NULL,NULL,7970763571202048,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,11,170316625292154645);
INSERT INTO calibrations VALUES(2,7906829107202048,'cross_check','good',2.0,'°C',7909424332802048,'OP-31',NULL,NULL,NULL,NULL,NULL,NULL,NULL,11,-3311525157065587837);
INSERT INTO calibrations VALUES(2,7909306368002048,'cross_check','good',1.0,'°C',7911901593602048,'OP-31',NULL,NULL,NULL,NULL,NULL,NULL,NULL,11,-4272747610780391115);
INSERT INTO calibrations VALUES(2,7911783628802048,'cross_check','good',3.0,'°C',7914378854402048,'OP-31',NULL,NULL,NULL,NULL,NULL,NULL,NULL,11,8374010866125028822);
INSERT INTO calibrations VALUES(2,7914260889602048,'cross_check','not_done',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,11,1911773139925376100);
INSERT INTO calibrations VALUES(4,7905647001602048,'cross_check','good',NULL,NULL,7916617728002048,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,11,1595370746975982325);
CREATE TABLE people (
    id INTEGER PRIMARY KEY,
    person TEXT NOT NULL,
    role TEXT NOT NULL CHECK (role = 'operator' OR role = 'inspector' OR role = 'metallurgist' OR role = 'engineer' OR role = 'quality'),
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
INSERT INTO people VALUES(1,'IN-91','inspector',NULL,NULL,NULL,NULL,NULL,NULL,NULL,12,-5891534036214732358);
INSERT INTO people VALUES(2,'OP-02','operator',NULL,NULL,NULL,NULL,NULL,NULL,NULL,12,-1696342240952173009);
INSERT INTO people VALUES(3,'OP-04','operator',NULL,NULL,NULL,NULL,NULL,NULL,NULL,12,4307186080404310360);
INSERT INTO people VALUES(4,'OP-05','operator',NULL,NULL,NULL,NULL,NULL,NULL,NULL,12,-5226482738571720332);
INSERT INTO people VALUES(5,'OP-06','operator',NULL,NULL,NULL,NULL,NULL,NULL,NULL,12,8812147067796589233);
INSERT INTO people VALUES(6,'OP-07','operator',NULL,NULL,NULL,NULL,NULL,NULL,NULL,12,7927960430540196228);
INSERT INTO people VALUES(7,'OP-08','operator',NULL,NULL,NULL,NULL,NULL,NULL,NULL,12,-5225138930000446262);
INSERT INTO people VALUES(8,'OP-09','operator',NULL,NULL,NULL,NULL,NULL,NULL,NULL,12,6586340189623980017);
INSERT INTO people VALUES(9,'OP-11','operator',NULL,NULL,NULL,NULL,NULL,NULL,NULL,12,5052748036096895277);
INSERT INTO people VALUES(10,'OP-12','operator',NULL,NULL,NULL,NULL,NULL,NULL,NULL,12,272975531079195874);
INSERT INTO people VALUES(11,'OP-13','operator',NULL,NULL,NULL,NULL,NULL,NULL,NULL,12,4103016184417735452);
INSERT INTO people VALUES(12,'OP-14','operator',NULL,NULL,NULL,NULL,NULL,NULL,NULL,12,-2282370637986890729);
INSERT INTO people VALUES(13,'OP-15','operator',NULL,NULL,NULL,NULL,NULL,NULL,NULL,12,-8351052211502574076);
INSERT INTO people VALUES(14,'OP-91','operator',NULL,NULL,NULL,NULL,NULL,NULL,NULL,12,2750211091740976906);
INSERT INTO people VALUES(15,'QL-91','quality',NULL,NULL,NULL,NULL,NULL,NULL,NULL,12,-2863988758058274631);
INSERT INTO people VALUES(16,'QL-92','quality',NULL,NULL,NULL,NULL,NULL,NULL,NULL,12,4734111122662810460);
INSERT INTO people VALUES(17,'OP-51','quality',NULL,NULL,NULL,7916617728002048,'QL-91',NULL,NULL,44,5051090809420854727);
CREATE TABLE process_limits (
    record TEXT NOT NULL,
    field TEXT NOT NULL,
    scope TEXT NOT NULL,
    warn_min REAL,
    warn_max REAL,
    stop_min REAL,
    stop_max REAL,
    source TEXT,
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (record, field, scope)
) STRICT, WITHOUT ROWID;
INSERT INTO process_limits VALUES('coats','rh_pct','',42.0,58.0,38.0,62.0,'invented house limits',NULL,NULL,NULL,NULL,NULL,NULL,NULL,14,3006863196221082084);
INSERT INTO process_limits VALUES('heats','crucible_life','',NULL,10.0,NULL,12.0,'invented house limits',NULL,NULL,NULL,NULL,NULL,NULL,NULL,14,-4937227866015229506);
INSERT INTO process_limits VALUES('heats','leak_mbar_l_s','',NULL,0.050000000000000002775,NULL,0.10000000000000000555,'invented house limits',NULL,NULL,NULL,NULL,NULL,NULL,NULL,14,-4624222982679636636);
INSERT INTO process_limits VALUES('pours','indicated_c','QB-2207',1465.0,1495.0,1450.0,1510.0,'invented house limits',NULL,NULL,NULL,NULL,NULL,NULL,NULL,14,121467302808456674);
INSERT INTO process_limits VALUES('pours','mould_c','QB-2207',980.0,1070.0,950.0,1100.0,'invented house limits',NULL,NULL,NULL,NULL,NULL,NULL,NULL,14,-6692284015036883252);
INSERT INTO process_limits VALUES('pours','transfer_s','QB-2207',NULL,180.0,NULL,300.0,'invented house limits',NULL,NULL,NULL,NULL,NULL,NULL,NULL,14,-7917107814831230643);
INSERT INTO process_limits VALUES('slurry_checks','ph','',9.5,10.400000000000000355,9.0,10.80000000000000071,'invented house limits',NULL,NULL,NULL,NULL,NULL,NULL,NULL,14,2284383027473928237);
INSERT INTO process_limits VALUES('slurry_checks','sio2_pct','',23.499999999999999999,28.0,21.0,30.0,'invented house limits',NULL,NULL,NULL,NULL,NULL,NULL,NULL,14,8111508838670348513);
INSERT INTO process_limits VALUES('slurry_checks','temp_c','',20.0,24.0,18.0,26.0,'invented house limits',NULL,NULL,NULL,NULL,NULL,NULL,NULL,14,9121384534572778576);
CREATE TABLE ingot_lots (
    id INTEGER PRIMARY KEY,
    ingot_lot TEXT NOT NULL,
    alloy INTEGER NOT NULL REFERENCES alloys (id),
    maker_heat TEXT,
    received_at INTEGER NOT NULL,
    mass_kg REAL,
    certificate TEXT,
    certificate_type TEXT CHECK (certificate_type = '2.1' OR certificate_type = '2.2' OR certificate_type = '3.1' OR certificate_type = '3.2'),
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
, "use" TEXT CHECK ("use" = 'melt' OR "use" = 'addition')) STRICT;
INSERT INTO ingot_lots VALUES(1,'IL31-01',1,'V4410',7896594432002048,160.0,'certificate 4410 (invented)','3.1',7896604262402048,'OP-15',NULL,NULL,15,-812448557272984644,NULL);
INSERT INTO ingot_lots VALUES(2,'IL31-02',1,'V4447',7904734003202048,155.0,'certificate 4447 (invented)','3.1',7904743833602048,'OP-15',NULL,NULL,15,-8539108215729770703,NULL);
INSERT INTO ingot_lots VALUES(3,'IL31-03',1,'V4484',7912873574402048,140.0,'certificate 4484 (invented)','3.1',7912883404802048,'OP-15',NULL,NULL,15,3341411265070634978,NULL);
INSERT INTO ingot_lots VALUES(4,'IL91-01',2,NULL,7884767232002048,500.0,NULL,NULL,NULL,NULL,NULL,'{"alloy":"QA-91@A"}',15,4420471202854191280,NULL);
CREATE TABLE revert_lots (
    id INTEGER PRIMARY KEY,
    revert_lot TEXT NOT NULL,
    alloy INTEGER NOT NULL REFERENCES alloys (id),
    made_at INTEGER NOT NULL,
    form TEXT,
    condition TEXT CHECK (condition = 'clean' OR condition = 'uncleaned' OR condition = 'mixed'),
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
INSERT INTO revert_lots VALUES(1,'RV31-01',1,7908286464002048,'cups, runners','clean',7908292608002048,'OP-15','blasted',NULL,16,3891440971213232276);
INSERT INTO revert_lots VALUES(2,'RV31-02',1,7910763724802048,'cups, runners','clean',7910769868802048,'OP-15','blasted',NULL,16,-5234465113036835168);
INSERT INTO revert_lots VALUES(3,'RV31-03',1,7915010457602048,'cups, runners','clean',7915016601602048,'OP-15','blasted',NULL,16,9161179117759555481);
CREATE TABLE heats (
    id INTEGER PRIMARY KEY,
    heat TEXT NOT NULL,
    alloy INTEGER NOT NULL REFERENCES alloys (id),
    furnace TEXT NOT NULL,
    crucible TEXT,
    crucible_life INTEGER,
    melted_at INTEGER,
    melt_in_at INTEGER,
    power_kw REAL,
    vacuum_mbar REAL,
    leak_mbar_l_s REAL,
    hold_min REAL,
    person TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
, closed_at INTEGER) STRICT;
INSERT INTO heats VALUES(1,'H31-001',1,'VF-1','C-2',1,7906829352962048,7906837463042048,60.10000000000000142,0.0061000000000000003871,0.024000000000000000499,10.400000000000000355,'OP-07',7906845818882048,'OP-07',NULL,NULL,58,-5526046741310955805,NULL);
INSERT INTO heats VALUES(2,'H31-002',1,'VF-1','CR31-02',1,7906894233602048,7906902835202048,61.299999999999997156,0.003099999999999999891,0.021000000000000001304,12.0,'OP-02',7906912419842048,'OP-02',NULL,NULL,17,-4417778686965143136,NULL);
INSERT INTO heats VALUES(3,'H31-003',1,'VF-1','CR31-01',2,7907538370562048,7907546726402048,59.0,0.0041999999999999997404,0.016000000000000000333,15.0,'OP-07',7907553607682048,'OP-07',NULL,NULL,17,1627926283594635174,NULL);
INSERT INTO heats VALUES(4,'H31-004',1,'VF-1','CR31-02',2,7907607674882048,7907615293442048,56.899999999999998578,0.0017999999999999999507,0.012999999999999999403,9.6999999999999992894,'OP-09',7907624140802048,'OP-09',NULL,NULL,17,2677085050158201921,NULL);
INSERT INTO heats VALUES(5,'H31-005',1,'VF-1','CR31-01',3,7909309317122048,7909316935682048,58.799999999999997156,0.0040000000000000000832,0.014000000000000000291,11.599999999999999645,'OP-02',7909325291522048,'OP-02',NULL,NULL,17,8807382841173996545,NULL);
INSERT INTO heats VALUES(6,'H31-006',1,'VF-1','CR31-02',3,7909380096002048,7909388943362048,60.500000000000000001,0.0041000000000000003455,0.018999999999999999528,12.30000000000000071,'OP-02',7909396316162048,'OP-02',NULL,NULL,17,-8160615238802470552,NULL);
INSERT INTO heats VALUES(7,'H31-007',1,'VF-1','CR31-01',4,7910018826242048,7910027427842048,62.60000000000000142,0.0058999999999999998626,0.012000000000000000249,13.30000000000000071,'OP-02',7910037258242048,'OP-02',NULL,NULL,17,-639439426074615632,NULL);
INSERT INTO heats VALUES(8,'H31-008',1,'VF-1','CR31-02',4,7910083706882048,7910092554242048,61.5,0.0027999999999999999715,0.020000000000000000416,11.80000000000000071,'OP-07',7910101155842048,'OP-07',NULL,NULL,17,-7820079209959001685,NULL);
INSERT INTO heats VALUES(9,'H31-009',1,'VF-1','CR31-01',5,7911786823682048,7911794688002048,59.700000000000002843,0.0060000000000000001249,0.016000000000000000333,11.80000000000000071,'OP-07',7911804764162048,'OP-07',NULL,NULL,17,1331914798484537558,NULL);
INSERT INTO heats VALUES(10,'H31-010',1,'VF-1','CR31-02',5,7911850967042048,7911858585602048,66.099999999999994315,0.0047999999999999995795,0.020000000000000000416,12.5,'OP-02',7911867678722048,'OP-02',NULL,NULL,17,-5626746266345045684,NULL);
INSERT INTO heats VALUES(11,'H31-011',1,'VF-1','CR31-01',6,7912493875202048,7912501739522048,60.899999999999998578,0.0035000000000000000728,0.021000000000000001304,11.900000000000000355,'OP-07',7912511078402048,'OP-07',NULL,NULL,17,-4156276220784904783,NULL);
INSERT INTO heats VALUES(12,'H31-012',1,'VF-1','CR31-02',6,7912559247362048,7912567357442048,62.899999999999998577,0.005000000000000000104,0.028000000000000000582,12.599999999999999644,'OP-02',7912575221762048,'OP-02',NULL,NULL,17,-2951433380624717032,NULL);
INSERT INTO heats VALUES(13,'H91-001',3,'F1','C-1',NULL,7906841395202048,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'{"alloy":"QA-91@B"}',17,-4369170774199984262,NULL);
CREATE TABLE revert_sources (
    revert_lot INTEGER NOT NULL REFERENCES revert_lots (id),
    heat INTEGER NOT NULL REFERENCES heats (id),
    mass_kg REAL,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (revert_lot, heat)
) STRICT, WITHOUT ROWID;
INSERT INTO revert_sources VALUES(1,1,6.5999999999999996447,NULL,NULL,NULL,NULL,18,-3948540853399390897);
INSERT INTO revert_sources VALUES(1,2,6.5999999999999996447,NULL,NULL,NULL,NULL,18,-8909876925886644163);
INSERT INTO revert_sources VALUES(1,3,6.5999999999999996447,NULL,NULL,NULL,NULL,18,3826261306602881165);
INSERT INTO revert_sources VALUES(1,4,6.5999999999999996447,NULL,NULL,NULL,NULL,18,-1551990823202794334);
INSERT INTO revert_sources VALUES(2,5,6.5999999999999996447,NULL,NULL,NULL,NULL,18,-8114989039806776691);
INSERT INTO revert_sources VALUES(2,6,6.5999999999999996447,NULL,NULL,NULL,NULL,18,5435121094657917484);
INSERT INTO revert_sources VALUES(2,7,6.5999999999999996447,NULL,NULL,NULL,NULL,18,-4071945105121091688);
INSERT INTO revert_sources VALUES(2,8,6.5999999999999996447,NULL,NULL,NULL,NULL,18,-6115483004537254247);
INSERT INTO revert_sources VALUES(3,9,6.5999999999999996447,NULL,NULL,NULL,NULL,18,-8732044183141240311);
INSERT INTO revert_sources VALUES(3,10,6.5999999999999996447,NULL,NULL,NULL,NULL,18,-2946769694784345681);
INSERT INTO revert_sources VALUES(3,11,6.5999999999999996447,NULL,NULL,NULL,NULL,18,8853843735008768926);
INSERT INTO revert_sources VALUES(3,12,6.5999999999999996447,NULL,NULL,NULL,NULL,18,1970071068968990997);
CREATE TABLE charges (
    id INTEGER PRIMARY KEY,
    heat INTEGER NOT NULL REFERENCES heats (id),
    source_ingot_lot INTEGER REFERENCES ingot_lots (id),
    source_revert_lot INTEGER REFERENCES revert_lots (id),
    item INTEGER NOT NULL,
    mass_kg REAL,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    CHECK ((source_ingot_lot IS NOT NULL) + (source_revert_lot IS NOT NULL) = 1)
) STRICT;
INSERT INTO charges VALUES(1,1,1,NULL,1,4.0730000000000003979,7906825912322048,'OP-07',NULL,NULL,19,-422273725787622858);
INSERT INTO charges VALUES(2,1,1,NULL,2,6.926999999999999602,7906826158082048,'OP-07',NULL,NULL,19,345319225393813379);
INSERT INTO charges VALUES(3,2,1,NULL,1,4.3550000000000004263,7906890792962048,'OP-02',NULL,NULL,19,8584396710065246091);
INSERT INTO charges VALUES(4,2,1,NULL,2,6.6449999999999995736,7906891038722048,'OP-02',NULL,NULL,19,-6047265187666169024);
INSERT INTO charges VALUES(5,3,1,NULL,1,4.482000000000000206,7907534929922048,'OP-07',NULL,NULL,19,-8292350723703852066);
INSERT INTO charges VALUES(6,3,1,NULL,2,6.5179999999999997939,7907535175682048,'OP-07',NULL,NULL,19,-6710163745776222661);
INSERT INTO charges VALUES(7,4,1,NULL,1,3.4529999999999998472,7907604234242048,'OP-09',NULL,NULL,19,794266091366072847);
INSERT INTO charges VALUES(8,4,1,NULL,2,7.5469999999999997086,7907604480002048,'OP-09',NULL,NULL,19,-9188568558881650047);
INSERT INTO charges VALUES(9,5,NULL,1,1,4.4000000000000003552,7909306613762048,'OP-02',NULL,NULL,19,7284235356657239955);
INSERT INTO charges VALUES(10,5,1,NULL,1,6.5999999999999996447,7909305876482048,'OP-02',NULL,NULL,19,9085221185738608005);
INSERT INTO charges VALUES(11,6,NULL,1,1,2.2000000000000001776,7909377392642048,'OP-02',NULL,NULL,19,-870133562107386291);
INSERT INTO charges VALUES(12,6,1,NULL,1,8.8000000000000007105,7909376655362048,'OP-02',NULL,NULL,19,-5685649307573640258);
INSERT INTO charges VALUES(13,13,4,NULL,1,11.0,NULL,NULL,NULL,NULL,19,-3667666221701890909);
CREATE TABLE analyses (
    id INTEGER PRIMARY KEY,
    analysis TEXT NOT NULL,
    subject_ingot_lot INTEGER REFERENCES ingot_lots (id),
    subject_revert_lot INTEGER REFERENCES revert_lots (id),
    subject_heat INTEGER REFERENCES heats (id),
    purpose TEXT NOT NULL CHECK (purpose = 'maker' OR purpose = 'check'),
    taken_at INTEGER NOT NULL,
    method TEXT,
    instrument INTEGER REFERENCES instruments (id),
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL, set_aside_by TEXT, set_aside_reason TEXT,
    CHECK ((subject_ingot_lot IS NOT NULL) + (subject_revert_lot IS NOT NULL) + (subject_heat IS NOT NULL) = 1)
) STRICT;
INSERT INTO analyses VALUES(1,'AN91-1',4,NULL,NULL,'maker',7884767232002048,NULL,NULL,NULL,NULL,NULL,NULL,20,6132494911252990110,NULL,NULL);
INSERT INTO analyses VALUES(2,'AN91-2',NULL,NULL,13,'check',7906885632002048,NULL,NULL,NULL,NULL,NULL,NULL,20,-6077689654871396577,NULL,NULL);
CREATE TABLE analysis_values (
    analysis INTEGER NOT NULL REFERENCES analyses (id),
    element TEXT NOT NULL,
    value REAL,
    unit TEXT NOT NULL CHECK (unit = 'wt%' OR unit = 'ppm'),
    uncertainty REAL,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (analysis, element)
) STRICT, WITHOUT ROWID;
INSERT INTO analysis_values VALUES(1,'O',12.0,'ppm',NULL,NULL,NULL,NULL,NULL,21,-5106782664002179645);
INSERT INTO analysis_values VALUES(2,'O',14.0,'ppm',NULL,NULL,NULL,NULL,NULL,21,2196346152254431538);
CREATE TABLE wax_lots (
    id INTEGER PRIMARY KEY,
    wax_lot TEXT NOT NULL,
    grade TEXT NOT NULL,
    received_at INTEGER NOT NULL,
    expires_on TEXT,
    ash_pct REAL,
    congealing_c REAL,
    filler_pct REAL,
    split_from INTEGER REFERENCES wax_lots (id),
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
INSERT INTO wax_lots VALUES(1,'WL31-01','W-62',7891628851202048,'2032-01-31',0.020000000000000000416,63.0,32.0,NULL,7891636224002048,'OP-15',NULL,NULL,22,8940659465772845866);
INSERT INTO wax_lots VALUES(2,'WL31-02','W-62',7904015155202048,'2032-01-31',0.024000000000000000499,63.399999999999998578,32.0,NULL,7904022528002048,'OP-15',NULL,NULL,22,5208177400615063075);
INSERT INTO wax_lots VALUES(3,'WL31-03','W-62',7911446937602048,'2032-01-31',0.018999999999999999528,62.799999999999997156,32.0,NULL,7911454310402048,'OP-15',NULL,NULL,22,2239780220358220811);
CREATE TABLE pattern_runs (
    id INTEGER PRIMARY KEY,
    pattern_run TEXT NOT NULL,
    wax_lot INTEGER NOT NULL REFERENCES wax_lots (id),
    part INTEGER NOT NULL REFERENCES parts (id),
    die TEXT NOT NULL,
    injected_at INTEGER NOT NULL,
    wax_c REAL,
    pressure_bar REAL,
    dwell_s REAL,
    made_count INTEGER,
    rejected_count INTEGER,
    person TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
INSERT INTO pattern_runs VALUES(1,'WP31-01',1,1,'D-2',7904032849922048,63.499999999999999999,22.0,44.0,36,2,'OP-08',7904051281922048,'OP-08',NULL,'{"part":"QB-2207@C"}',23,-1262597430608442484);
INSERT INTO pattern_runs VALUES(2,'WP31-02',1,1,'D-2',7904742113282048,62.200000000000002843,23.0,42.0,36,0,'OP-08',7904760545282048,'OP-08',NULL,'{"part":"QB-2207@C"}',23,8775271011384461131);
INSERT INTO pattern_runs VALUES(3,'WP31-03',1,1,'D-1',7906512814082048,63.89999999999999858,22.10000000000000142,37.0,36,2,'OP-08',7906531246082048,'OP-08',NULL,'{"part":"QB-2207@C"}',23,-4739287533347385782);
INSERT INTO pattern_runs VALUES(4,'WP31-04',1,1,'D-1',7907217653762048,63.499999999999999999,23.699999999999999289,39.0,36,3,'OP-08',7907236085762048,'OP-08',NULL,'{"part":"QB-2207@C"}',23,4570965122861087035);
INSERT INTO pattern_runs VALUES(5,'WP31-05',1,1,'D-2',7908987617282048,63.700000000000002843,21.5,40.0,36,2,'OP-06',7909006049282048,'OP-06',NULL,'{"part":"QB-2207@C"}',23,2439464741537676446);
INSERT INTO pattern_runs VALUES(6,'WP31-06',2,1,'D-2',7909689262082048,62.399999999999998579,21.30000000000000071,39.0,36,0,'OP-06',7909707694082048,'OP-06',NULL,'{"part":"QB-2207@C"}',23,-4224329011273310355);
INSERT INTO pattern_runs VALUES(7,'WP31-07',2,1,'D-1',7911463403522048,62.200000000000002843,22.5,39.0,36,1,'OP-08',7911481835522048,'OP-08',NULL,'{"part":"QB-2207@C"}',23,-3519725199652806505);
INSERT INTO pattern_runs VALUES(8,'WP31-08',2,1,'D-1',7912170700802048,64.499999999999999998,22.199999999999999289,44.0,36,1,'OP-06',7912189132802048,'OP-06',NULL,'{"part":"QB-2207@C"}',23,4759230004879252930);
INSERT INTO pattern_runs VALUES(9,'WP31-09',2,1,'D-1',7913942384642048,62.299999999999997159,22.699999999999999288,38.0,36,0,'OP-08',7913960816642048,'OP-08',NULL,'{"part":"QB-2207@C"}',23,7334920765863169762);
INSERT INTO pattern_runs VALUES(10,'WP31-10',2,1,'D-1',7914652385282048,62.0,22.5,38.0,36,1,'OP-06',7914670817282048,'OP-06',NULL,'{"part":"QB-2207@C"}',23,7465558228244887921);
INSERT INTO pattern_runs VALUES(11,'WP31-11',3,1,'D-2',7916414484482048,62.5,21.199999999999999289,42.0,36,3,'OP-06',7916432916482048,'OP-06',NULL,'{"part":"QB-2207@C"}',23,6986809200494801508);
CREATE TABLE core_lots (
    id INTEGER PRIMARY KEY,
    core_lot TEXT NOT NULL,
    material TEXT,
    fired_at INTEGER,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
CREATE TABLE filter_lots (
    id INTEGER PRIMARY KEY,
    filter_lot TEXT NOT NULL,
    material TEXT,
    ppi REAL,
    received_at INTEGER NOT NULL,
    received_count INTEGER,
    rejected_count INTEGER,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
INSERT INTO filter_lots VALUES(1,'FL31-01','zirconia',20.0,7899065548802048,30,0,7899074150402048,'OP-15',NULL,NULL,24,-7697398458237450068);
INSERT INTO filter_lots VALUES(2,'FL31-02','zirconia',20.0,7906497331202048,30,1,7906505932802048,'OP-15','one dropped on the bench',NULL,24,-6936299001334356896);
INSERT INTO filter_lots VALUES(3,'FL31-03','zirconia',20.0,7916406374402048,24,6,7916414976002048,'OP-15','6 of 24 found cracked at receipt; the other 18 sorted by eye and used',NULL,24,6844355586331160011);
INSERT INTO filter_lots VALUES(4,'FL-A',NULL,20.0,7915909939202048,12,NULL,7916617728002048,NULL,NULL,NULL,48,-414495338806672061);
INSERT INTO filter_lots VALUES(5,'FL-B',NULL,NULL,7915909939202048,NULL,NULL,7916617728002048,'OP-02','read twice','{"ppi":"<12"}',46,-8601186019151504118);
CREATE TABLE powder_lots (
    id INTEGER PRIMARY KEY,
    powder_lot TEXT NOT NULL,
    grade TEXT NOT NULL,
    received_at INTEGER NOT NULL,
    expires_on TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
CREATE TABLE slurry_batches (
    id INTEGER PRIMARY KEY,
    slurry_batch TEXT NOT NULL,
    use TEXT NOT NULL CHECK (use = 'prime' OR use = 'backup' OR use = 'seal_coat'),
    binder TEXT,
    flour TEXT,
    made_at INTEGER NOT NULL,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
INSERT INTO slurry_batches VALUES(1,'PS31-01','prime','colloidal silica','zircon 325',7903368806402048,7903373721602048,'OP-13',NULL,NULL,25,-9219065187660521256);
INSERT INTO slurry_batches VALUES(2,'PS31-02','prime','colloidal silica','zircon 325',7903368806402048,7903373721602048,'OP-13',NULL,NULL,25,3095134142188901425);
INSERT INTO slurry_batches VALUES(3,'PS31-03','prime','colloidal silica','zircon 325',7908323328002048,7908328243202048,'OP-13',NULL,NULL,25,5362229200048636433);
INSERT INTO slurry_batches VALUES(4,'PS31-04','prime','colloidal silica','zircon 325',7908323328002048,7908328243202048,'OP-13',NULL,NULL,25,-5987336377744048928);
INSERT INTO slurry_batches VALUES(5,'PS31-05','prime','colloidal silica','zircon 325',7913277849602048,7913282764802048,'OP-13',NULL,NULL,25,-3955724681636068871);
INSERT INTO slurry_batches VALUES(6,'PS31-06','prime','colloidal silica','zircon 325',7913277849602048,7913282764802048,'OP-13',NULL,NULL,25,-2858634926579296680);
CREATE TABLE slurry_checks (
    slurry_batch INTEGER NOT NULL REFERENCES slurry_batches (id),
    occurred_at INTEGER NOT NULL,
    person TEXT,
    instrument TEXT,
    temp_c REAL,
    viscosity_s REAL,
    cup INTEGER,
    density_g_cm3 REAL,
    ph REAL,
    sio2_pct REAL,
    plate_g REAL,
    gel TEXT CHECK (gel = 'pass' OR gel = 'fail' OR gel = 'not_done'),
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (slurry_batch, occurred_at)
) STRICT, WITHOUT ROWID;
INSERT INTO slurry_checks VALUES(1,7903994265602048,'OP-11','VC-01',21.399999999999998578,39.0,5,2.7200000000000001953,9.7799999999999993605,25.69999999999999929,3.4100000000000001421,'pass',7903995740162048,'OP-11',NULL,NULL,26,-2906433350443694721);
INSERT INTO slurry_checks VALUES(1,7904346685442048,'OP-11','VC-01',21.800000000000000709,39.0,5,2.7000000000000001776,9.8000000000000007105,26.600000000000001421,3.4300000000000001598,'pass',7904347914242048,'OP-11',NULL,NULL,26,973112840460365553);
INSERT INTO slurry_checks VALUES(1,7904697139202048,'OP-11','VC-01',20.69999999999999929,38.0,5,2.7200000000000001953,9.830000000000000071,26.399999999999998578,3.4500000000000001776,'pass',7904698368002048,'OP-11',NULL,NULL,26,-3868940606184928841);
INSERT INTO slurry_checks VALUES(1,7905053982722048,'OP-11','VC-01',21.600000000000001421,39.0,5,2.7299999999999999822,9.8100000000000004973,25.80000000000000071,3.3799999999999998934,'pass',7905056194562048,'OP-11',NULL,NULL,26,-5288497390669000998);
INSERT INTO slurry_checks VALUES(1,7905409105922048,'OP-11','VC-01',22.10000000000000142,39.0,5,2.7200000000000001953,9.7699999999999995736,25.899999999999998578,3.4199999999999999289,'pass',7905409843202048,'OP-11',NULL,NULL,26,1513418095954579102);
INSERT INTO slurry_checks VALUES(1,7906469806082048,'OP-11','VC-01',21.899999999999998578,36.0,5,2.7299999999999999822,9.6899999999999995026,26.0,3.4799999999999999822,'pass',7906472017922048,'OP-11',NULL,NULL,26,-4242604783701308713);
INSERT INTO slurry_checks VALUES(1,7906823454722048,'OP-11','VC-01',21.199999999999999289,39.0,5,2.7299999999999999822,9.7400000000000002131,25.69999999999999929,3.4399999999999999467,'pass',7906824192002048,'OP-11',NULL,NULL,26,-2462454182536071368);
INSERT INTO slurry_checks VALUES(1,7907177840642048,'OP-11','VC-01',21.600000000000001421,39.0,5,2.7200000000000001953,9.7300000000000004263,25.499999999999999999,3.5,'pass',7907179069442048,'OP-11',NULL,NULL,26,308919738418609596);
INSERT INTO slurry_checks VALUES(1,7907527311362048,'OP-11','VC-01',21.399999999999998578,38.0,5,2.7000000000000001776,9.8900000000000005684,26.5,3.5200000000000000177,'pass',7907527802882048,'OP-11',NULL,NULL,26,-1938011782815629887);
INSERT INTO slurry_checks VALUES(1,7907885383682048,'OP-11','VC-01',21.899999999999998578,38.0,5,2.7200000000000001953,9.7799999999999993605,26.0,3.4300000000000001598,'pass',7907887595522048,'OP-11',NULL,NULL,26,7832907869863565640);
INSERT INTO slurry_checks VALUES(2,7903991808002048,'OP-12','VC-01',22.10000000000000142,37.0,5,2.7200000000000001953,9.7899999999999991473,25.600000000000001421,3.4100000000000001421,'pass',7903993528322048,'OP-12',NULL,NULL,26,-1791181387557807115);
INSERT INTO slurry_checks VALUES(2,7904347914242048,'OP-12','VC-01',21.399999999999998578,37.0,5,2.7099999999999999644,9.7599999999999997868,26.399999999999998578,3.2799999999999998046,'pass',7904348405762048,'OP-12',NULL,NULL,26,-260286856784739011);
CREATE TABLE stucco_lots (
    id INTEGER PRIMARY KEY,
    stucco_lot TEXT NOT NULL,
    material TEXT,
    mesh TEXT,
    received_at INTEGER NOT NULL,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
INSERT INTO stucco_lots VALUES(1,'ST31-01','zircon','90',7894101196802048,7894108569602048,'OP-15',NULL,NULL,27,-4595455715624463409);
INSERT INTO stucco_lots VALUES(2,'ST31-02','zircon','90',7907195289602048,7907202662402048,'OP-15',NULL,NULL,27,-1133506739052504893);
INSERT INTO stucco_lots VALUES(3,'ST31-11','fused silica','30-60',7894455091202048,7894462464002048,'OP-15',NULL,NULL,27,2070467107724167430);
INSERT INTO stucco_lots VALUES(4,'ST31-12','fused silica','30-60',7911795916802048,7911803289602048,'OP-15',NULL,NULL,27,-4422890245337571899);
CREATE TABLE shell_batches (
    id INTEGER PRIMARY KEY,
    shell_batch TEXT NOT NULL,
    recipe INTEGER NOT NULL REFERENCES shell_recipes (id),
    started_at INTEGER NOT NULL,
    room TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
INSERT INTO shell_batches VALUES(1,'SB31-01',1,7904710656002048,'room 1',7904711884802048,'OP-13',NULL,'{"recipe":"SR-7@B"}',28,-8460016883575168207);
INSERT INTO shell_batches VALUES(2,'SB31-02',1,7905418444802048,'room 2',7905419673602048,'OP-13',NULL,'{"recipe":"SR-7@B"}',28,-3105104932737111043);
INSERT INTO shell_batches VALUES(3,'SB31-03',1,7907187916802048,'room 1',7907189145602048,'OP-13',NULL,'{"recipe":"SR-7@B"}',28,-5630079831795428979);
INSERT INTO shell_batches VALUES(4,'SB31-04',1,7907895705602048,'room 2',7907896934402048,'OP-13',NULL,'{"recipe":"SR-7@B"}',28,1675127961676036323);
INSERT INTO shell_batches VALUES(5,'SB31-05',1,7909665177602048,'room 2',7909666406402048,'OP-13',NULL,'{"recipe":"SR-7@B"}',28,-4734601137800961641);
INSERT INTO shell_batches VALUES(6,'SB31-06',1,7910372966402048,'room 2',7910374195202048,'OP-13',NULL,'{"recipe":"SR-7@B"}',28,4792128795724740042);
INSERT INTO shell_batches VALUES(7,'SB31-07',1,7912142438402048,'room 2',7912143667202048,'OP-13',NULL,'{"recipe":"SR-7@B"}',28,-7076684897973083331);
INSERT INTO shell_batches VALUES(8,'SB31-08',1,7912850227202048,'room 2',7912851456002048,'OP-13',NULL,'{"recipe":"SR-7@B"}',28,4291190701027750218);
INSERT INTO shell_batches VALUES(9,'SB31-09',1,7914619699202048,'room 2',7914620928002048,'OP-13',NULL,'{"recipe":"SR-7@B"}',28,21961733173676686);
INSERT INTO shell_batches VALUES(10,'SB31-10',1,7915327488002048,'room 2',7915328716802048,'OP-13',NULL,'{"recipe":"SR-7@B"}',28,-1611237770927436961);
CREATE TABLE moulds (
    id INTEGER PRIMARY KEY,
    mould TEXT NOT NULL,
    part INTEGER NOT NULL REFERENCES parts (id),
    running_system INTEGER NOT NULL REFERENCES running_systems (id),
    shell_batch INTEGER REFERENCES shell_batches (id),
    filter_lot INTEGER REFERENCES filter_lots (id),
    assembled_at INTEGER NOT NULL,
    person TEXT,
    seal TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
INSERT INTO moulds VALUES(1,'M31-001',1,1,1,1,7904426065922048,'OP-14','rope',7904427540482048,'OP-14',NULL,'{"part":"QB-2207@C","running_system":"RS-4@A","cup_tilt_deg":"0.5"}',29,-6591313469970710246);
INSERT INTO moulds VALUES(2,'M31-002',1,1,1,1,7904431718402048,'OP-14','ring',7904433192962048,'OP-14',NULL,'{"part":"QB-2207@C","running_system":"RS-4@A"}',29,-5530489118739013873);
INSERT INTO moulds VALUES(3,'M31-003',1,1,1,1,7904438845442048,'OP-05','ring',7904440320002048,'OP-05',NULL,'{"part":"QB-2207@C","running_system":"RS-4@A"}',29,-2539919159405818650);
INSERT INTO moulds VALUES(4,'M31-004',1,1,1,1,7904444989442048,'OP-05','rope',7904446464002048,'OP-05',NULL,'{"part":"QB-2207@C","running_system":"RS-4@A","cup_tilt_deg":"0.1"}',29,-9212554987076693343);
INSERT INTO moulds VALUES(5,'M31-005',1,1,2,1,7905134346242048,'OP-05','ring',7905135820802048,'OP-05',NULL,'{"part":"QB-2207@C","running_system":"RS-4@A"}',29,-4729999981319887240);
INSERT INTO moulds VALUES(6,'M31-006',1,1,2,1,7905141227522048,'OP-14','rope',7905142702082048,'OP-14',NULL,'{"part":"QB-2207@C","running_system":"RS-4@A"}',29,-4326787528156692860);
INSERT INTO moulds VALUES(7,'M31-007',1,1,2,1,7905145651202048,'OP-05','rope',7905147125762048,'OP-05',NULL,'{"part":"QB-2207@C","running_system":"RS-4@A","cup_tilt_deg":"0.6"}',29,-2681044419131081017);
INSERT INTO moulds VALUES(8,'M31-008',1,1,2,1,7905152286722048,'OP-05','ring',7905153761282048,'OP-05',NULL,'{"part":"QB-2207@C","running_system":"RS-4@A"}',29,-2559434318387359559);
INSERT INTO moulds VALUES(9,'M31-009',1,1,3,1,7906905292802048,'OP-05','rope',7906906767362048,'OP-05',NULL,'{"part":"QB-2207@C","running_system":"RS-4@A"}',29,7656895514084108797);
INSERT INTO moulds VALUES(10,'M31-010',1,1,3,1,7906909962242048,'OP-05','ring',7906911436802048,'OP-05',NULL,'{"part":"QB-2207@C","running_system":"RS-4@A","cup_tilt_deg":"0.5"}',29,5835104275723453500);
INSERT INTO moulds VALUES(11,'M31-011',1,1,3,1,7906916843522048,'OP-14','ring',7906918318082048,'OP-14',NULL,'{"part":"QB-2207@C","running_system":"RS-4@A"}',29,5868714620366578952);
INSERT INTO moulds VALUES(12,'M31-012',1,1,3,1,7906921512962048,'OP-05','ring',7906922987522048,'OP-05',NULL,'{"part":"QB-2207@C","running_system":"RS-4@A"}',29,6273647895763111297);
INSERT INTO moulds VALUES(13,'M91-001',2,2,NULL,NULL,7898923008002048,NULL,NULL,NULL,NULL,NULL,'{"part":"QB-91@C"}',29,6608923649194586533);
INSERT INTO moulds VALUES(14,'M91-002',2,2,NULL,NULL,7898923008002048,NULL,NULL,NULL,NULL,NULL,'{"part":"QB-91@C"}',29,-2879263764307654650);
INSERT INTO moulds VALUES(15,'M31-900',1,1,NULL,NULL,7915909939202048,NULL,NULL,7916617728002048,NULL,NULL,'{"cup_tilt_deg":"<0.5"}',47,-4914807098780337851);
CREATE TABLE coats (
    mould INTEGER NOT NULL REFERENCES moulds (id),
    coat INTEGER NOT NULL,
    slurry_batch INTEGER NOT NULL REFERENCES slurry_batches (id),
    stucco_lot INTEGER REFERENCES stucco_lots (id),
    in_at INTEGER NOT NULL,
    out_at INTEGER,
    room_c REAL,
    rh_pct REAL,
    person TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (mould, coat)
) STRICT, WITHOUT ROWID;
INSERT INTO coats VALUES(1,1,1,1,7904710901762048,7904766689282048,22.399999999999998579,49.0,'OP-11',7904713359362048,'OP-11',NULL,NULL,30,2908601171996661726);
INSERT INTO coats VALUES(1,2,1,1,7904794214402048,7904857620482048,22.60000000000000142,50.0,'OP-13',7904795197442048,'OP-13',NULL,NULL,30,2174391638036659858);
INSERT INTO coats VALUES(2,1,2,1,7904712376322048,7904765214722048,23.0,52.0,'OP-13',7904714342402048,'OP-13',NULL,NULL,30,-2094484312563384337);
INSERT INTO coats VALUES(2,2,2,1,7904796180482048,7904852705282048,22.699999999999999288,51.0,'OP-13',7904797655042048,'OP-13',NULL,NULL,30,2603188847300048362);
CREATE TABLE investments (
    mould INTEGER NOT NULL REFERENCES moulds (id),
    powder_lot INTEGER NOT NULL REFERENCES powder_lots (id),
    mixed_at INTEGER NOT NULL,
    liquid_ml_per_100g REAL,
    mix_s REAL,
    vacuum_mbar REAL,
    set_min REAL,
    person TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (mould)
) STRICT, WITHOUT ROWID;
CREATE TABLE oven_runs (
    id INTEGER PRIMARY KEY,
    oven_run TEXT NOT NULL,
    purpose TEXT NOT NULL CHECK (purpose = 'dewax' OR purpose = 'fire' OR purpose = 'preheat'),
    oven TEXT NOT NULL,
    started_at INTEGER NOT NULL,
    instrument TEXT,
    setpoint_c REAL,
    soak_min REAL,
    peak_bar REAL,
    rise_s REAL,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
CREATE TABLE oven_loads (
    oven_run INTEGER NOT NULL REFERENCES oven_runs (id),
    mould INTEGER NOT NULL REFERENCES moulds (id),
    place TEXT,
    out_at INTEGER,
    crack TEXT CHECK (crack = 'none' OR crack = 'patched' OR crack = 'through'),
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (oven_run, mould)
) STRICT, WITHOUT ROWID;
CREATE TABLE pour_plans (
    mould INTEGER NOT NULL REFERENCES moulds (id),
    planned_on TEXT NOT NULL,
    furnace TEXT,
    pour_order INTEGER,
    target_c REAL,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (mould)
) STRICT, WITHOUT ROWID;
INSERT INTO pour_plans VALUES(1,'2031-03-03','VF-1',1,1480.0,7906578432002048,'OP-41',NULL,NULL,31,-5115876043752446786);
INSERT INTO pour_plans VALUES(2,'2031-03-03','VF-1',2,1480.0,7906578432002048,'OP-41',NULL,NULL,31,-9020157864291041605);
INSERT INTO pour_plans VALUES(3,'2031-03-03','VF-1',1,1480.0,7906578432002048,'OP-41',NULL,NULL,31,8483360081095272355);
INSERT INTO pour_plans VALUES(4,'2031-03-03','VF-1',2,1480.0,7906578432002048,'OP-41',NULL,NULL,31,-8267554456163451749);
INSERT INTO pour_plans VALUES(5,'2031-03-05','VF-1',1,1480.0,7907286220802048,'OP-41',NULL,NULL,31,-3556232793189363399);
INSERT INTO pour_plans VALUES(6,'2031-03-05','VF-1',2,1480.0,7907286220802048,'OP-41',NULL,NULL,31,-8600377098671561942);
INSERT INTO pour_plans VALUES(7,'2031-03-05','VF-1',1,1480.0,7907286220802048,'OP-41',NULL,NULL,31,-5423854025856309446);
INSERT INTO pour_plans VALUES(8,'2031-03-05','VF-1',2,1480.0,7907286220802048,'OP-41',NULL,NULL,31,-7332440284294340023);
INSERT INTO pour_plans VALUES(9,'2031-03-10','VF-1',1,1480.0,7909055692802048,'OP-41',NULL,NULL,31,6251768125320124842);
INSERT INTO pour_plans VALUES(10,'2031-03-10','VF-1',2,1480.0,7909055692802048,'OP-41',NULL,NULL,31,4683919117115584401);
INSERT INTO pour_plans VALUES(11,'2031-03-10','VF-1',1,1480.0,7909055692802048,'OP-41',NULL,NULL,31,1899340502098452442);
INSERT INTO pour_plans VALUES(12,'2031-03-10','VF-1',2,1480.0,7909055692802048,'OP-41',NULL,NULL,31,7936643827872931545);
CREATE TABLE pours (
    mould INTEGER NOT NULL REFERENCES moulds (id),
    heat INTEGER NOT NULL REFERENCES heats (id),
    pour_order INTEGER,
    poured_at INTEGER NOT NULL,
    indicated_c REAL,
    pyrometer INTEGER REFERENCES instruments (id),
    mould_c REAL,
    transfer_s REAL,
    pour_s REAL,
    mass_kg REAL,
    seal_state TEXT CHECK (seal_state = 'tight' OR seal_state = 'weep' OR seal_state = 'leak'),
    run_out TEXT CHECK (run_out = 'yes' OR run_out = 'no'),
    person TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (mould)
) STRICT, WITHOUT ROWID;
INSERT INTO pours VALUES(1,1,1,7906842624002048,1477.0,2,1028.0,62.0,2.5,5.3390000000000004121,'tight','no','OP-07',7906843361282048,'OP-07',NULL,NULL,32,-4972972840613968632);
INSERT INTO pours VALUES(2,1,2,7906844590082048,1478.0,2,1025.0,87.0,3.5,5.2990000000000003765,'tight','no','OP-07',7906846556162048,'OP-07',NULL,NULL,49,-6059725196095206531);
INSERT INTO pours VALUES(3,2,1,7906909224962048,1480.0,2,1019.0,103.0,3.2999999999999998223,5.2380000000000004334,'tight','no','OP-02',7906909470722048,'OP-02',NULL,NULL,32,-359637411204661702);
INSERT INTO pours VALUES(4,2,2,7906911191042048,1480.0,2,1003.0,137.0,3.3999999999999999111,5.2820000000000000284,'tight','no','OP-02',7906913157122048,'OP-02',NULL,NULL,32,4600812988965634078);
INSERT INTO pours VALUES(5,3,1,7907550904322048,1472.0,2,1019.0,147.0,3.7000000000000001776,5.2539999999999995594,'tight','no','OP-07',7907551887362048,'OP-07',NULL,NULL,32,5285546009511441947);
INSERT INTO pours VALUES(6,3,2,7907552870402048,1472.0,2,1016.0,133.0,3.5,5.357000000000000206,'tight','no','OP-07',7907554590722048,'OP-07',NULL,NULL,32,-8085298422118109481);
INSERT INTO pours VALUES(7,4,1,7907621191682048,1482.0,2,1032.0,61.0,3.0,5.2199999999999997513,'tight','no','OP-09',7907623403522048,'OP-09',NULL,NULL,32,577449102792250929);
INSERT INTO pours VALUES(8,4,2,7907623157762048,1481.0,2,1036.0,73.0,3.2000000000000001776,5.3630000000000004334,'tight','no','OP-09',7907625369602048,'OP-09',NULL,NULL,32,-1590667129222014188);
INSERT INTO pours VALUES(9,5,1,7909321850882048,1482.0,2,1034.0,71.0,3.7000000000000001776,5.2809999999999996944,'tight','no','OP-02',7909322342402048,'OP-02',NULL,NULL,32,-5305984987401809325);
INSERT INTO pours VALUES(10,5,2,7909323816962048,1481.0,2,1025.0,72.0,3.2000000000000001776,5.3769999999999997797,'tight','no','OP-02',7909325783042048,'OP-02',NULL,NULL,32,4033893179745217672);
INSERT INTO pours VALUES(11,6,1,7909393367042048,1477.0,2,1026.0,124.0,3.3999999999999999111,5.3269999999999999573,'tight','no','OP-02',7909394350082048,'OP-02',NULL,NULL,32,61968270046962248);
INSERT INTO pours VALUES(12,6,2,7909395333122048,1477.0,2,1023.0,81.0,3.2000000000000001776,5.2930000000000001492,'tight','no','OP-02',7909396807682048,'OP-02',NULL,NULL,32,-1220904341009106913);
INSERT INTO pours VALUES(13,13,NULL,7906856140802048,1480.0,4,NULL,NULL,NULL,5.0,NULL,NULL,'OP-91',NULL,NULL,NULL,NULL,32,438682353240817319);
INSERT INTO pours VALUES(14,13,NULL,7906858598402048,1480.0,4,NULL,NULL,NULL,5.0,NULL,NULL,'OP-91',NULL,NULL,NULL,NULL,32,774407552736086757);
CREATE TABLE test_bars (
    id INTEGER PRIMARY KEY,
    test_bar TEXT NOT NULL,
    heat INTEGER NOT NULL REFERENCES heats (id),
    instrument TEXT,
    uts_mpa REAL,
    yield_mpa REAL,
    elongation_pct REAL,
    rupture_h REAL,
    hardness_hrc REAL,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
CREATE TABLE blades (
    id INTEGER PRIMARY KEY,
    blade TEXT NOT NULL,
    mould INTEGER REFERENCES moulds (id),
    position INTEGER,
    pattern_run INTEGER REFERENCES pattern_runs (id),
    cavity TEXT,
    core_lot INTEGER REFERENCES core_lots (id),
    marked_at INTEGER,
    position_confirmed TEXT CHECK (position_confirmed = 'yes' OR position_confirmed = 'no'),
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
INSERT INTO blades VALUES(1,'M31-001-1',1,1,1,'4',NULL,7907173416962048,'yes',7907174400002048,'OP-08',NULL,NULL,33,-8312659080750587274);
INSERT INTO blades VALUES(2,'M31-001-2',1,2,1,'3',NULL,7907173908482048,'yes',7907174891522048,'OP-08',NULL,NULL,33,468006407083109393);
INSERT INTO blades VALUES(3,'M31-001-3',1,3,1,'2',NULL,7907174154242048,'yes',7907175137282048,'OP-08',NULL,NULL,33,-3887532087831547106);
INSERT INTO blades VALUES(4,'M31-001-4',1,4,1,'1',NULL,7907174645762048,'yes',7907175628802048,'OP-08',NULL,NULL,33,121361743210208600);
INSERT INTO blades VALUES(5,'M31-001-5',1,5,1,'4',NULL,7907174891522048,'yes',7907175874562048,'OP-08',NULL,NULL,33,-5824541860828730184);
INSERT INTO blades VALUES(6,'M31-001-6',1,6,1,'3',NULL,7907175383042048,'yes',7907176366082048,'OP-08',NULL,NULL,33,5190570052036544339);
INSERT INTO blades VALUES(7,'M31-001-7',1,7,1,'2',NULL,7907175628802048,'yes',7907176611842048,'OP-08',NULL,NULL,33,-4414303029361760108);
INSERT INTO blades VALUES(8,'M31-001-8',1,8,1,'1',NULL,7907176120322048,'yes',7907177103362048,'OP-08',NULL,NULL,33,-3406992905124371237);
INSERT INTO blades VALUES(9,'M31-002-1',2,1,1,'1',NULL,7907176366082048,'yes',7907177349122048,'OP-08',NULL,NULL,33,876902591557077930);
INSERT INTO blades VALUES(10,'M31-002-2',2,2,1,'4',NULL,7907176857602048,'yes',7907177840642048,'OP-08',NULL,NULL,33,2966736913174046393);
INSERT INTO blades VALUES(11,'M31-002-3',2,3,1,'3',NULL,7907177103362048,'yes',7907178086402048,'OP-08',NULL,NULL,33,-8011600723699132632);
INSERT INTO blades VALUES(12,'M31-002-4',2,4,1,'2',NULL,7907177594882048,'yes',7907178577922048,'OP-08',NULL,NULL,33,841234511197366588);
INSERT INTO blades VALUES(13,'M91-001-1',13,1,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,33,8790850331293863138);
INSERT INTO blades VALUES(14,'M91-001-2',13,2,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,33,-1692602027257308840);
INSERT INTO blades VALUES(15,'M91-002-1',14,1,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,33,-4496390803582789430);
INSERT INTO blades VALUES(16,'M91-002-2',14,2,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,33,-4206064025114254675);
INSERT INTO blades VALUES(17,'B-91',1,11,NULL,NULL,NULL,NULL,NULL,7916617728002048,NULL,NULL,NULL,57,1290157344962311103);
CREATE TABLE treatments (
    id INTEGER PRIMARY KEY,
    treatment TEXT NOT NULL,
    kind TEXT NOT NULL CHECK (kind = 'hip' OR kind = 'solution' OR kind = 'age' OR kind = 'stress_relief'),
    schedule TEXT,
    furnace TEXT,
    instrument TEXT,
    started_at INTEGER NOT NULL,
    temp_c REAL,
    hold_h REAL,
    pressure_mpa REAL,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
CREATE TABLE treatment_loads (
    treatment INTEGER NOT NULL REFERENCES treatments (id),
    blade INTEGER NOT NULL REFERENCES blades (id),
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (treatment, blade)
) STRICT, WITHOUT ROWID;
CREATE TABLE inspections (
    id INTEGER PRIMARY KEY,
    inspection TEXT NOT NULL,
    blade INTEGER NOT NULL REFERENCES blades (id),
    method TEXT NOT NULL CHECK (method = 'visual' OR method = 'penetrant' OR method = 'radiograph' OR method = 'dimensional' OR method = 'grain' OR method = 'wall_thickness'),
    round INTEGER NOT NULL,
    purpose TEXT CHECK (purpose = 'product' OR purpose = 'overlap' OR purpose = 'study'),
    technique TEXT,
    class TEXT,
    inspected_at INTEGER NOT NULL,
    person TEXT,
    instrument INTEGER REFERENCES instruments (id),
    result TEXT NOT NULL CHECK (result = 'accept' OR result = 'reject'),
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
, closes INTEGER REFERENCES inspections (id)) STRICT;
INSERT INTO inspections VALUES(1,'I91-1',13,'penetrant',1,NULL,'PT-1',NULL,7908832051202048,'IN-91',NULL,'accept',NULL,NULL,NULL,NULL,34,-4658760849249677189,NULL);
INSERT INTO inspections VALUES(2,'I91-2',14,'penetrant',1,NULL,'PT-1',NULL,7908832051202048,'IN-91',NULL,'accept',NULL,NULL,NULL,NULL,34,8712916332152248891,NULL);
INSERT INTO inspections VALUES(3,'I91-3',13,'radiograph',1,NULL,'RT-1',NULL,7909185945602048,'IN-91',1,'accept',NULL,NULL,NULL,NULL,34,-1080991931325870560,NULL);
INSERT INTO inspections VALUES(4,'I91-4',14,'radiograph',1,NULL,'RT-1',NULL,7909185945602048,'IN-91',1,'accept',NULL,NULL,NULL,NULL,34,4406278651253075907,NULL);
INSERT INTO inspections VALUES(5,'I92-1',15,'penetrant',1,NULL,'PT-1',NULL,7908832051202048,'IN-91',NULL,'reject',NULL,NULL,NULL,NULL,34,4678095859635956182,NULL);
INSERT INTO inspections VALUES(6,'I92-2',16,'penetrant',1,NULL,'PT-1',NULL,7908832051202048,'IN-91',NULL,'accept',NULL,NULL,NULL,NULL,34,-7142547524193043036,NULL);
INSERT INTO inspections VALUES(7,'I92-3',15,'radiograph',1,NULL,'RT-1',NULL,7909185945602048,'IN-91',1,'accept',NULL,NULL,NULL,NULL,34,6769909969148261088,NULL);
INSERT INTO inspections VALUES(8,'I92-4',16,'radiograph',1,NULL,'RT-1',NULL,7909185945602048,'IN-91',1,'accept',NULL,NULL,NULL,NULL,34,-4132950903234479449,NULL);
CREATE TABLE findings (
    inspection INTEGER NOT NULL REFERENCES inspections (id),
    defect INTEGER NOT NULL REFERENCES defect_terms (id),
    item INTEGER NOT NULL,
    zone TEXT,
    side TEXT,
    size_mm REAL,
    distance_mm REAL,
    count INTEGER,
    severity INTEGER,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (inspection, defect, item)
) STRICT, WITHOUT ROWID;
INSERT INTO findings VALUES(5,1,1,'AF',NULL,0.4000000000000000222,NULL,NULL,NULL,NULL,NULL,NULL,NULL,35,-6270791719525154521);
CREATE TABLE measurements (
    inspection INTEGER NOT NULL REFERENCES inspections (id),
    characteristic TEXT NOT NULL,
    value REAL,
    unit TEXT NOT NULL,
    lower REAL,
    upper REAL,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (inspection, characteristic)
) STRICT, WITHOUT ROWID;
CREATE TABLE concessions (
    id INTEGER PRIMARY KEY,
    concession TEXT NOT NULL,
    type TEXT NOT NULL CHECK (type = 'deviation' OR type = 'concession'),
    part INTEGER NOT NULL REFERENCES parts (id),
    limits TEXT NOT NULL,
    quantity INTEGER,
    granted_at INTEGER NOT NULL,
    granted_by TEXT,
    expires_on TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
, reference TEXT) STRICT;
INSERT INTO concessions VALUES(1,'CN31-01','concession',1,'platform: cosmetic marks up to 0.1 mm deep',6,7915334860802048,'OP-51','2031-12-31',NULL,NULL,NULL,'{"part":"QB-2207@C"}',38,7529757378736602286,NULL);
INSERT INTO concessions VALUES(2,'CN91-01','concession',2,'inclusion up to 1 mm in AF',2,7909362892802048,'QL-91','2032-01-01',NULL,NULL,NULL,'{"part":"QB-91@C"}',38,5457830296789199837,NULL);
CREATE TABLE dispositions (
    blade INTEGER NOT NULL REFERENCES blades (id),
    decided_at INTEGER NOT NULL,
    decision TEXT NOT NULL CHECK (decision = 'accept' OR decision = 'rework' OR decision = 'repair' OR decision = 'scrap' OR decision = 'hold' OR decision = 'concession'),
    person TEXT,
    concession INTEGER REFERENCES concessions (id),
    reason TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (blade, decided_at)
) STRICT, WITHOUT ROWID;
INSERT INTO dispositions VALUES(1,7907659776002048,'accept','OP-51',NULL,NULL,7907661004802048,'OP-51',NULL,NULL,39,8184726199995685192);
INSERT INTO dispositions VALUES(2,7907659857922048,'accept','OP-51',NULL,NULL,7907661086722048,'OP-51',NULL,NULL,39,-1931720792736485290);
INSERT INTO dispositions VALUES(3,7907659939842048,'accept','OP-51',NULL,NULL,7907661168642048,'OP-51',NULL,NULL,39,2681666091945954666);
INSERT INTO dispositions VALUES(4,7907660021762048,'accept','OP-51',NULL,NULL,7907661250562048,'OP-51',NULL,NULL,39,-782952664671192168);
INSERT INTO dispositions VALUES(5,7907660103682048,'accept','OP-51',NULL,NULL,7907661332482048,'OP-51',NULL,NULL,39,-6166413437829173487);
INSERT INTO dispositions VALUES(6,7907660185602048,'accept','OP-51',NULL,NULL,7907661414402048,'OP-51',NULL,NULL,39,-9184399916479230479);
INSERT INTO dispositions VALUES(7,7907660267522048,'accept','OP-51',NULL,NULL,7907661496322048,'OP-51',NULL,NULL,39,7072000935942685860);
INSERT INTO dispositions VALUES(8,7907660349442048,'accept','OP-51',NULL,NULL,7907661578242048,'OP-51',NULL,NULL,39,1880732508130671944);
INSERT INTO dispositions VALUES(9,7907661250562048,'accept','OP-52',NULL,NULL,7907662479362048,'OP-52',NULL,NULL,39,-2978999177549528362);
INSERT INTO dispositions VALUES(10,7907661332482048,'scrap','OP-52',NULL,'radiograph: non-metallic inclusion, zone RT',7907662561282048,'OP-52',NULL,NULL,39,-8022711394750509964);
INSERT INTO dispositions VALUES(11,7907661414402048,'accept','OP-52',NULL,NULL,7907662643202048,'OP-52',NULL,NULL,39,-5978389328007922648);
INSERT INTO dispositions VALUES(12,7907661496322048,'accept','OP-52',NULL,NULL,7907662725122048,'OP-52',NULL,NULL,39,2868099341081621586);
INSERT INTO dispositions VALUES(13,7909539840002048,'accept','QL-91',NULL,NULL,NULL,NULL,NULL,NULL,39,-2578050191935941314);
INSERT INTO dispositions VALUES(14,7909539840002048,'accept','QL-91',NULL,NULL,NULL,NULL,NULL,NULL,39,5488157039869005060);
INSERT INTO dispositions VALUES(15,7909539840002048,'concession','QL-91',2,NULL,NULL,NULL,NULL,NULL,39,-1519114489561141802);
INSERT INTO dispositions VALUES(16,7909539840002048,'accept','QL-91',NULL,NULL,NULL,NULL,NULL,NULL,39,-6275000974985979217);
CREATE TABLE lots (
    id INTEGER PRIMARY KEY,
    lot TEXT NOT NULL,
    part INTEGER NOT NULL REFERENCES parts (id),
    purchaser TEXT,
    purchase_order TEXT,
    ordered_count INTEGER,
    certificate_type TEXT,
    opened_at INTEGER NOT NULL,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
INSERT INTO lots VALUES(1,'L31-01',1,'customer store (invented)','order 7001',240,'3.1',7901532979202048,7901536665602048,'OP-52',NULL,'{"part":"QB-2207@C"}',36,-7960599170878666893);
INSERT INTO lots VALUES(2,'L31-02',1,'customer store (invented)','order 7002',190,'3.1',7911442022402048,7911445708802048,'OP-52',NULL,'{"part":"QB-2207@C"}',36,-6672540582378238530);
INSERT INTO lots VALUES(3,'L91-01',2,'Buyer','a & b',2,NULL,7895737958402048,NULL,NULL,NULL,'{"part":"QB-91@C"}',36,-3915101438071968492);
INSERT INTO lots VALUES(4,'L91-02',2,'Buyer','a & b',2,NULL,7895737958402048,NULL,NULL,NULL,'{"part":"QB-91@C"}',36,2600371399480367614);
CREATE TABLE shipments (
    blade INTEGER NOT NULL REFERENCES blades (id),
    shipped_at INTEGER NOT NULL,
    destination TEXT,
    certificate TEXT,
    returned_at INTEGER,
    return_reason TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (blade, shipped_at)
) STRICT, WITHOUT ROWID;
CREATE TABLE trials (
    id INTEGER PRIMARY KEY,
    trial TEXT NOT NULL,
    question TEXT NOT NULL,
    factor TEXT NOT NULL,
    response TEXT NOT NULL,
    opened_at INTEGER NOT NULL,
    status TEXT NOT NULL CHECK (status = 'open' OR status = 'closed'),
    planned_moulds INTEGER,
    worth_having REAL,
    seed TEXT,
    held_constant TEXT,
    stop_rule TEXT,
    decision TEXT,
    decided_at INTEGER,
    decided_by TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
CREATE TABLE trial_moulds (
    trial INTEGER NOT NULL REFERENCES trials (id),
    mould INTEGER NOT NULL REFERENCES moulds (id),
    arm TEXT NOT NULL,
    block TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (trial, mould)
) STRICT, WITHOUT ROWID;
CREATE TABLE holds (
    id INTEGER PRIMARY KEY,
    hold TEXT NOT NULL,
    subject_kind TEXT NOT NULL,
    subject_id INTEGER NOT NULL,
    placed_at INTEGER NOT NULL,
    person TEXT,
    reason TEXT NOT NULL,
    lifted_at INTEGER,
    lifted_by TEXT,
    lifted_reason TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
INSERT INTO holds VALUES(1,'HOLD-0001','pattern_runs',3,7906575974402048,'OP-06','tray label unreadable',7906834022402048,'OP-51','label read under the lamp, tray counted',NULL,NULL,NULL,NULL,40,-3821057077755422116);
INSERT INTO holds VALUES(2,'HOLD-CYMKEC','moulds',2,7916617728002048,'OP-51','slag seen',7916617728002048,'OP-51','cleared',7916617728002048,'OP-51',NULL,NULL,53,645578216593175436);
INSERT INTO holds VALUES(3,'HOLD-CC7C44','shell_batches',1,7916617728002048,'OP-51','humidity log missing',NULL,NULL,NULL,7916617728002048,'OP-51',NULL,NULL,54,-1901029849581590176);
CREATE TABLE retags (
    old_tag TEXT NOT NULL,
    new_tag TEXT NOT NULL,
    changed_at INTEGER NOT NULL,
    person TEXT,
    witness TEXT,
    reason TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (old_tag, changed_at)
) STRICT, WITHOUT ROWID;
INSERT INTO retags VALUES('M31-002','M31-002X',7915909939202048,NULL,NULL,NULL,7916617728002048,NULL,NULL,NULL,55,6145129893124693438);
CREATE TABLE attachments (
    id INTEGER PRIMARY KEY,
    attachment TEXT NOT NULL,
    subject_kind TEXT NOT NULL,
    subject_id INTEGER NOT NULL,
    path TEXT NOT NULL,
    sha256 TEXT NOT NULL,
    bytes INTEGER NOT NULL,
    title TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
CREATE TABLE signatures (
    subject_kind TEXT NOT NULL,
    subject_id INTEGER NOT NULL,
    role TEXT NOT NULL,
    person TEXT NOT NULL,
    signed_at INTEGER NOT NULL,
    meaning TEXT NOT NULL CHECK (meaning = 'made' OR meaning = 'checked' OR meaning = 'released' OR meaning = 'conceded'),
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (subject_kind, subject_id, person, signed_at)
) STRICT, WITHOUT ROWID;
INSERT INTO signatures VALUES('alloys',1,'metallurgist','OP-31',7751496499202048,'checked',NULL,NULL,NULL,NULL,41,-1623981303364967017);
INSERT INTO signatures VALUES('lots',3,'quality','QL-91',7916617728002048,'released',7916617728002048,'QL-91','rules 2; content 855bce35c66a43c795cab4eecfcf868edcd1dfc9fe8e1167a9f470ea7a657349; journal entry 59 dac4ac653b86b716bde98fa2e9218f4c2c4d64d994300c06e588ae2f14b44e0a; name as claimed',NULL,60,-7960068276866019077);
CREATE TABLE costs (
    part INTEGER NOT NULL REFERENCES parts (id),
    station TEXT NOT NULL,
    value REAL,
    currency TEXT NOT NULL,
    from_date TEXT NOT NULL,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (part, station, from_date)
) STRICT, WITHOUT ROWID;
INSERT INTO costs VALUES(1,'dimensional',71.0,'EUR','2031-01-01',NULL,NULL,NULL,'{"part":"QB-2207@C"}',42,7716254605934649987);
INSERT INTO costs VALUES(1,'penetrant',55.0,'EUR','2031-01-01',NULL,NULL,NULL,'{"part":"QB-2207@C"}',42,-13240499462814435);
INSERT INTO costs VALUES(1,'pour',46.0,'EUR','2031-01-01',NULL,NULL,NULL,'{"part":"QB-2207@C"}',42,-5379155628188246666);
INSERT INTO costs VALUES(1,'radiograph',66.0,'EUR','2031-01-01',NULL,NULL,NULL,'{"part":"QB-2207@C"}',42,-7066773528288518168);
INSERT INTO costs VALUES(1,'shell',14.0,'EUR','2031-01-01',NULL,NULL,NULL,'{"part":"QB-2207@C"}',42,-4499762094765845122);
INSERT INTO costs VALUES(1,'visual',49.0,'EUR','2031-01-01',NULL,NULL,NULL,'{"part":"QB-2207@C"}',42,5014628736544324938);
INSERT INTO costs VALUES(1,'wax',4.0,'EUR','2031-01-01',NULL,NULL,NULL,'{"part":"QB-2207@C"}',42,-1760677905051473102);
CREATE TABLE samples (
    id INTEGER PRIMARY KEY,
    sample TEXT NOT NULL,
    subject_kind TEXT NOT NULL,
    subject_id INTEGER NOT NULL,
    kind TEXT NOT NULL CHECK (kind = 'film' OR kind = 'section' OR kind = 'bar' OR kind = 'retained'),
    kept_at TEXT,
    discarded_at INTEGER,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
INSERT INTO samples VALUES(1,'SA-91','parts',2,'retained',NULL,NULL,7916617728002048,NULL,NULL,'{"subject":"QB-91@C"}',59,-4206016386305153133);
CREATE TABLE pins (
    person INTEGER PRIMARY KEY REFERENCES people (id),
    hash TEXT NOT NULL,
    failures INTEGER NOT NULL,
    entry INTEGER NOT NULL
, free_at INTEGER) STRICT;
INSERT INTO pins VALUES(17,'$argon2id$v=19$m=19456,t=2,p=1$A0Yd5I9eAZTEKkR9doyx6Q$U0vyONEBpuKTnXOX1c86xqmXAtyQkf+KEZLNBCj7FoM',0,62,NULL);
CREATE TABLE settings (
    setting TEXT NOT NULL,
    value TEXT NOT NULL,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (setting)
) STRICT, WITHOUT ROWID;
INSERT INTO settings VALUES('clock_given','yes',NULL,NULL,NULL,NULL,43,3647750263587689289);
INSERT INTO settings VALUES('sheet mapping boxes','{"kind":"filter_lots","header":1,"sheet":null,"columns":[["filter_lot","Box"],["received_at","Came"]],"fill":[],"words":[],"only":[],"habits":{"decimal_comma":false,"dates":null,"offset":"+00:00","hour":null,"blanks":[]}}',7916617728002048,NULL,NULL,NULL,61,-118516850467213097);
CREATE TABLE concession_items (
    concession INTEGER NOT NULL REFERENCES concessions (id),
    item INTEGER NOT NULL,
    measure TEXT NOT NULL CHECK (measure = '' OR measure = 'size_mm' OR measure = 'distance_mm' OR measure = 'count' OR measure = 'severity' OR measure = 'value'),
    covers TEXT NOT NULL CHECK (covers = 'defect' OR covers = 'element' OR covers = 'characteristic' OR covers = 'instrument' OR covers = 'definition' OR covers = 'station'),
    name TEXT NOT NULL,
    zone TEXT,
    at_least REAL,
    at_most REAL,
    unit TEXT,
    only_for_kind TEXT,
    only_for_id INTEGER,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (concession, item, measure)
) STRICT, WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS "lot_blades" (
    lot INTEGER NOT NULL REFERENCES lots (id),
    blade INTEGER NOT NULL REFERENCES blades (id),
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (lot, blade)
) STRICT, WITHOUT ROWID;
INSERT INTO lot_blades VALUES(1,1,NULL,NULL,NULL,NULL,37,-3991148206848621349);
INSERT INTO lot_blades VALUES(1,2,NULL,NULL,NULL,NULL,37,7537408462415527347);
INSERT INTO lot_blades VALUES(1,3,NULL,NULL,NULL,NULL,37,-1741132613232595072);
INSERT INTO lot_blades VALUES(1,4,NULL,NULL,NULL,NULL,37,-1256237019775752834);
INSERT INTO lot_blades VALUES(1,5,NULL,NULL,NULL,NULL,37,-3661943335234221842);
INSERT INTO lot_blades VALUES(1,6,NULL,NULL,NULL,NULL,37,-8700700858950871071);
INSERT INTO lot_blades VALUES(1,7,NULL,NULL,NULL,NULL,37,-4466160871019041484);
INSERT INTO lot_blades VALUES(1,8,NULL,NULL,NULL,NULL,37,5784680215912614109);
INSERT INTO lot_blades VALUES(1,9,NULL,NULL,NULL,NULL,37,-2017530125027683598);
INSERT INTO lot_blades VALUES(1,10,NULL,NULL,NULL,NULL,37,-8850818877451564007);
INSERT INTO lot_blades VALUES(1,11,NULL,NULL,NULL,NULL,37,-1333992023654729508);
INSERT INTO lot_blades VALUES(1,12,NULL,NULL,NULL,NULL,37,1161393753764557686);
INSERT INTO lot_blades VALUES(3,13,NULL,NULL,NULL,NULL,37,-6724586117625346876);
INSERT INTO lot_blades VALUES(3,14,NULL,NULL,NULL,NULL,37,798512132770138904);
INSERT INTO lot_blades VALUES(4,15,NULL,NULL,NULL,NULL,37,5410997918900697722);
INSERT INTO lot_blades VALUES(4,16,NULL,NULL,NULL,NULL,37,3679665962654420511);
CREATE TABLE IF NOT EXISTS "qualifications" (
    person INTEGER NOT NULL REFERENCES people (id),
    method TEXT NOT NULL CHECK (method = 'visual' OR method = 'penetrant' OR method = 'radiograph' OR method = 'dimensional' OR method = 'grain' OR method = 'wall_thickness'),
    level TEXT NOT NULL,
    from_on TEXT NOT NULL,
    expires_on TEXT NOT NULL,
    eyesight_on TEXT,
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (person, method, from_on)
) STRICT, WITHOUT ROWID;
INSERT INTO qualifications VALUES(1,'penetrant','2','2031-03-10','2033-01-01','2031-01-01',NULL,NULL,NULL,NULL,NULL,'from_on assumed: the earliest inspection on record',NULL,13,5814710382373896800);
INSERT INTO qualifications VALUES(1,'radiograph','3','2031-03-11','2033-01-01','2031-01-01',NULL,NULL,NULL,NULL,NULL,'from_on assumed: the earliest inspection on record',NULL,13,3553026644820359063);
INSERT INTO qualifications VALUES(1,'visual','2','2031-01-01','2033-01-01',NULL,NULL,NULL,NULL,7916617728002048,'QL-91',NULL,NULL,56,-8034058774469224368);
CREATE TABLE knowledge_sources (
    source TEXT NOT NULL,
    status TEXT NOT NULL CHECK (status = 'read' OR status = 'cited' OR status = 'memory' OR status = 'practice'),
    reference TEXT NOT NULL,
    where_seen TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (source)
) STRICT, WITHOUT ROWID;
CREATE TABLE known_causes (
    defect INTEGER NOT NULL REFERENCES defect_terms (id),
    factor TEXT NOT NULL,
    direction TEXT NOT NULL CHECK (direction = 'higher' OR direction = 'lower' OR direction = 'either' OR direction = 'level'),
    strength TEXT NOT NULL CHECK (strength = 'primary' OR strength = 'contributing'),
    mechanism TEXT NOT NULL,
    "check" TEXT NOT NULL,
    remedy TEXT,
    source TEXT,
    source_status TEXT NOT NULL CHECK (source_status = 'read' OR source_status = 'cited' OR source_status = 'memory' OR source_status = 'practice'),
    doubtful TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (defect, factor)
) STRICT, WITHOUT ROWID;
CREATE TABLE known_cause_reviews (
    defect INTEGER NOT NULL REFERENCES defect_terms (id),
    person TEXT NOT NULL,
    reviewed_at INTEGER NOT NULL,
    content TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (defect, person, reviewed_at)
) STRICT, WITHOUT ROWID;
CREATE TABLE finish_steps (
    id INTEGER PRIMARY KEY,
    subject_mould INTEGER REFERENCES moulds (id),
    subject_blade INTEGER REFERENCES blades (id),
    item INTEGER NOT NULL,
    step TEXT NOT NULL CHECK (step = 'knock_out' OR step = 'cut_off' OR step = 'leach' OR step = 'blast' OR step = 'grind' OR step = 'straighten'),
    done_at INTEGER NOT NULL,
    person TEXT,
    damage TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    CHECK ((subject_mould IS NOT NULL) + (subject_blade IS NOT NULL) = 1)
) STRICT;
CREATE TABLE hand_overs (
    person TEXT NOT NULL,
    taken_at INTEGER NOT NULL,
    given_by TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (person, taken_at)
) STRICT, WITHOUT ROWID;
CREATE UNIQUE INDEX alloys_tag ON alloys (alloy COLLATE NOCASE, revision);
CREATE UNIQUE INDEX parts_tag ON parts (part COLLATE NOCASE, revision);
CREATE UNIQUE INDEX shell_recipes_tag ON shell_recipes (recipe COLLATE NOCASE, revision);
CREATE UNIQUE INDEX running_systems_tag ON running_systems (running_system COLLATE NOCASE, revision);
CREATE UNIQUE INDEX core_lots_tag ON core_lots (core_lot COLLATE NOCASE);
CREATE UNIQUE INDEX powder_lots_tag ON powder_lots (powder_lot COLLATE NOCASE);
CREATE INDEX investments_by_powder_lot ON investments (powder_lot);
CREATE UNIQUE INDEX oven_runs_tag ON oven_runs (oven_run COLLATE NOCASE);
CREATE INDEX oven_runs_by_instrument ON oven_runs (instrument COLLATE NOCASE, started_at) WHERE instrument IS NOT NULL;
CREATE INDEX oven_loads_by_mould ON oven_loads (mould);
CREATE INDEX test_bars_by_heat ON test_bars (heat);
CREATE UNIQUE INDEX test_bars_tag ON test_bars (test_bar COLLATE NOCASE);
CREATE INDEX test_bars_by_instrument ON test_bars (instrument COLLATE NOCASE) WHERE instrument IS NOT NULL;
CREATE UNIQUE INDEX treatments_tag ON treatments (treatment COLLATE NOCASE);
CREATE INDEX treatments_by_instrument ON treatments (instrument COLLATE NOCASE, started_at) WHERE instrument IS NOT NULL;
CREATE INDEX treatment_loads_by_blade ON treatment_loads (blade);
CREATE UNIQUE INDEX trials_tag ON trials (trial COLLATE NOCASE);
CREATE INDEX trial_moulds_by_mould ON trial_moulds (mould);
CREATE UNIQUE INDEX attachments_tag ON attachments (attachment COLLATE NOCASE);
CREATE UNIQUE INDEX samples_tag ON samples (sample COLLATE NOCASE);
CREATE INDEX journal_by_tag ON journal (tag COLLATE NOCASE) WHERE tag IS NOT NULL;
CREATE INDEX retags_by_new_tag ON retags (new_tag COLLATE NOCASE);
CREATE INDEX retags_by_old_tag ON retags (old_tag COLLATE NOCASE);
CREATE INDEX journal_dispositions ON journal (seq) WHERE kind = 'dispositions' AND action = 'correct';
CREATE INDEX journal_proposals ON journal (seq) WHERE action = 'propose';
CREATE INDEX journal_decisions ON journal (came) WHERE action = 'accept' OR action = 'decline';
CREATE INDEX journal_pins ON journal (seq) WHERE action = 'pin';
CREATE INDEX journal_people ON journal (seq) WHERE kind = 'people';
CREATE INDEX oven_loads_by_time ON oven_loads (out_at);
CREATE INDEX finish_steps_by_subject_mould ON finish_steps (subject_mould, subject_blade, item);
CREATE INDEX finish_steps_by_subject_blade ON finish_steps (subject_blade);
CREATE UNIQUE INDEX finish_steps_key ON finish_steps (ifnull(subject_mould, 0), ifnull(subject_blade, 0), item);
CREATE UNIQUE INDEX defect_terms_tag ON defect_terms (defect COLLATE NOCASE);
CREATE UNIQUE INDEX instruments_tag ON instruments (instrument COLLATE NOCASE);
CREATE INDEX calibrations_failed ON calibrations (instrument, checked_at) WHERE result = 'failed';
CREATE UNIQUE INDEX people_tag ON people (person COLLATE NOCASE);
CREATE UNIQUE INDEX ingot_lots_tag ON ingot_lots (ingot_lot COLLATE NOCASE);
CREATE UNIQUE INDEX revert_lots_tag ON revert_lots (revert_lot COLLATE NOCASE);
CREATE UNIQUE INDEX heats_tag ON heats (heat COLLATE NOCASE);
CREATE INDEX heats_by_furnace ON heats (furnace, melted_at);
CREATE INDEX revert_sources_by_heat ON revert_sources (heat);
CREATE INDEX charges_by_source_ingot_lot ON charges (source_ingot_lot) WHERE source_ingot_lot IS NOT NULL;
CREATE INDEX charges_by_source_revert_lot ON charges (source_revert_lot) WHERE source_revert_lot IS NOT NULL;
CREATE UNIQUE INDEX charges_key ON charges (heat, ifnull(source_ingot_lot, 0), ifnull(source_revert_lot, 0), item);
CREATE INDEX analyses_by_subject_ingot_lot ON analyses (subject_ingot_lot) WHERE subject_ingot_lot IS NOT NULL;
CREATE INDEX analyses_by_subject_revert_lot ON analyses (subject_revert_lot) WHERE subject_revert_lot IS NOT NULL;
CREATE INDEX analyses_by_subject_heat ON analyses (subject_heat) WHERE subject_heat IS NOT NULL;
CREATE INDEX analyses_by_instrument ON analyses (instrument, taken_at) WHERE instrument IS NOT NULL;
CREATE UNIQUE INDEX analyses_tag ON analyses (analysis COLLATE NOCASE);
CREATE INDEX wax_lots_by_split_from ON wax_lots (split_from) WHERE split_from IS NOT NULL;
CREATE UNIQUE INDEX wax_lots_tag ON wax_lots (wax_lot COLLATE NOCASE);
CREATE INDEX pattern_runs_by_wax_lot ON pattern_runs (wax_lot);
CREATE UNIQUE INDEX pattern_runs_tag ON pattern_runs (pattern_run COLLATE NOCASE);
CREATE UNIQUE INDEX filter_lots_tag ON filter_lots (filter_lot COLLATE NOCASE);
CREATE UNIQUE INDEX slurry_batches_tag ON slurry_batches (slurry_batch COLLATE NOCASE);
CREATE INDEX slurry_checks_by_instrument ON slurry_checks (instrument COLLATE NOCASE, occurred_at) WHERE instrument IS NOT NULL;
CREATE UNIQUE INDEX stucco_lots_tag ON stucco_lots (stucco_lot COLLATE NOCASE);
CREATE INDEX shell_batches_by_recipe ON shell_batches (recipe);
CREATE UNIQUE INDEX shell_batches_tag ON shell_batches (shell_batch COLLATE NOCASE);
CREATE INDEX moulds_by_running_system ON moulds (running_system);
CREATE INDEX moulds_by_shell_batch ON moulds (shell_batch) WHERE shell_batch IS NOT NULL;
CREATE INDEX moulds_by_filter_lot ON moulds (filter_lot) WHERE filter_lot IS NOT NULL;
CREATE UNIQUE INDEX moulds_tag ON moulds (mould COLLATE NOCASE);
CREATE INDEX moulds_by_time ON moulds (assembled_at);
CREATE INDEX coats_by_slurry_batch ON coats (slurry_batch);
CREATE INDEX coats_by_stucco_lot ON coats (stucco_lot) WHERE stucco_lot IS NOT NULL;
CREATE INDEX coats_by_time ON coats (in_at);
CREATE INDEX pours_by_heat ON pours (heat);
CREATE INDEX pours_by_pyrometer ON pours (pyrometer, poured_at) WHERE pyrometer IS NOT NULL;
CREATE INDEX pours_by_time ON pours (poured_at);
CREATE INDEX blades_by_mould ON blades (mould) WHERE mould IS NOT NULL;
CREATE INDEX blades_by_pattern_run ON blades (pattern_run) WHERE pattern_run IS NOT NULL;
CREATE INDEX blades_by_core_lot ON blades (core_lot) WHERE core_lot IS NOT NULL;
CREATE UNIQUE INDEX blades_tag ON blades (blade COLLATE NOCASE);
CREATE INDEX inspections_by_blade ON inspections (blade);
CREATE INDEX inspections_by_instrument ON inspections (instrument, inspected_at) WHERE instrument IS NOT NULL;
CREATE UNIQUE INDEX inspections_tag ON inspections (inspection COLLATE NOCASE);
CREATE INDEX inspections_by_closes ON inspections (closes) WHERE closes IS NOT NULL;
CREATE INDEX findings_by_defect ON findings (defect);
CREATE UNIQUE INDEX lots_tag ON lots (lot COLLATE NOCASE);
CREATE INDEX lot_blades_by_blade ON lot_blades (blade);
CREATE UNIQUE INDEX concessions_tag ON concessions (concession COLLATE NOCASE);
CREATE INDEX dispositions_by_concession ON dispositions (concession) WHERE concession IS NOT NULL;
CREATE UNIQUE INDEX holds_tag ON holds (hold COLLATE NOCASE);
CREATE INDEX holds_open ON holds (subject_kind, subject_id) WHERE lifted_at IS NULL;
COMMIT;
